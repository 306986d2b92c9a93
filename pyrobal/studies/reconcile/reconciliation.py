"""``reconcile``: plant measurements against the balance, and everything that is to be said of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault
from pyrobal.numerics.gross_errors import Global, global_test
from pyrobal.numerics.reconcile import HUBER, SQUARES
from pyrobal.studies.measure import solved
from pyrobal.studies.reconcile.accounts import Account, accounts
from pyrobal.studies.reconcile.fit import Fitted, Problem, fitted_settings, problem_of, without_answer
from pyrobal.studies.reconcile.measured import Measured, correlations, read_measured
from pyrobal.studies.reconcile.predict import Prediction, predictions
from pyrobal.studies.reconcile.tests import (
    Adjusted,
    Found,
    Instrument,
    Outlier,
    adjusted,
    instruments,
    outliers,
    with_errors_found,
)
from pyrobal.studies.reconcile.usual import usual_columns, usual_deviation
from pyrobal.studies.run import Progress, unseen
from pyrobal.studies.tangent import tangent

LOSSES: Final = (SQUARES, HUBER)
_TOGETHER: Final = 0.9  # correlation of two fitted settings worth a sentence
_PART: Final = 0.05  # of a direction, relative to its largest part


@dataclass(frozen=True, eq=False)
class Setting:
    """A fitted setting.

    before, value, deviation : in SI; of --each, values (T,) and their deviations
    held : True where it stands at an end of its range, so that its deviation means nothing
    """

    fitted: Fitted
    before: float
    value: FloatN
    deviation: FloatN
    held: bool

    @property
    def key(self) -> str:
        """As in the case file."""
        return self.fitted.variable.key


@dataclass(frozen=True, eq=False)
class Reconciliation:
    """The answer, in SI.

    before, after : the test of everything together, as measured and with the errors found allowed for
    entangled : pairs of fitted settings and their correlation, where it is above 0.9
    """

    case: Case
    measured: Measured
    loss: str
    found: Found
    before: Global
    after: Global
    instruments: tuple[Instrument, ...]
    outliers: tuple[Outlier, ...]
    settings: tuple[Setting, ...]
    each: tuple[Setting, ...]
    entangled: tuple[tuple[str, str, float], ...]
    adjusted: Adjusted

    @property
    def periods(self) -> tuple[str, ...]:
        """Their names, without those set aside."""
        return self.found.problem.measured.periods

    @property
    def settled(self) -> bool:
        """False where the search ran out of rounds."""
        return self.found.answer.settled

    @cached_property
    def predictions(self) -> tuple[Prediction, ...]:
        """Of periods that the fit has not seen."""
        return tuple(predictions(self.found))

    @cached_property
    def accounts(self) -> tuple[Account, ...]:
        """Of the elements."""
        return tuple(accounts(self.found))


def reconcile(
    case: Case,
    measured: str | Path,
    fit: Sequence[str] = (),
    each: Sequence[str] = (),
    drop: Sequence[str] = (),
    correlated: Sequence[str] = (),
    loss: str = SQUARES,
    progress: Progress = unseen,
) -> Reconciliation:
    """The balance that fits the measurements in a file best.

    measured : TOML, CSV or workbook; fit, each : "KEY" or "KEY=LOW:HIGH", settings with one value for all
    periods or one in each; drop : columns not to use; correlated : "KEY,KEY=0.4"; loss : "squares" or "huber"

    Raises CaseError with every fault of the file and of the settings; for settings that the measurements do
    not determine; and where no period has a balance.
    """
    table = read_measured(case, str(measured), drop)
    together = correlations(table, correlated)
    problem = _solvable(problem_of(case, table, *_both(case, fit, each), together))
    rounds = [0]

    def advance(_: int) -> None:
        rounds[0] += 1
        progress(1, max(rounds[0] + 1, 10))

    found = with_errors_found(problem, loss, advance)
    if found is None:  # every period has an answer at the start, or it would stand aside
        raise CaseError(
            [Fault(table.file, None, "", "the balance could not be followed from the measured values")]
        )
    _determined(case, found)
    return _told(case, found, loss)


def _both(case: Case, fit: Sequence[str], each: Sequence[str]) -> tuple[list[Fitted], list[Fitted]]:
    """Faults of the two options together."""
    faults: list[Fault] = []
    found: list[list[Fitted]] = []
    for texts, option in ((fit, "--fit"), (each, "--each")):
        try:
            found.append(fitted_settings(case, texts, option))
        except CaseError as error:
            faults += error.faults
    if faults:
        raise CaseError(faults)
    return found[0], found[1]


def _solvable(problem: Problem) -> Problem:
    """Without the periods that have no balance as measured."""
    bad = without_answer(problem)
    if len(bad) == problem.periods:
        names = problem.measured.periods
        faults = [
            Fault(problem.measured.file, None, names[t], f"no balance: {why}") for t, why in bad.items()
        ]
        raise CaseError(faults[:10])
    keep = [t for t in range(problem.periods) if t not in bad]
    aside = {problem.measured.periods[t]: f"no balance: {why}" for t, why in bad.items()}
    return replace(problem, measured=problem.measured.take(keep, aside))


def _determined(case: Case, found: Found) -> None:
    """Raise CaseError for fitted settings that nothing measured tells of, with what would help most."""
    p = found.problem
    all_free = replace(found.first, free=tuple(range(len(p.fit))))  # at an end of its range or not
    faults = [
        _fault(case, p, p.fit, parts, direction, "--fit")
        for parts, direction in zip(*all_free.undetermined(), strict=True)
    ]
    for k, one in enumerate(p.fit):
        if 0.0 < all_free.information[k, k] * (one.high - one.low) ** 2 < 1.0:
            unit = np.eye(len(p.fit))[k]
            faults.append(_fault(case, p, p.fit, unit, unit, "--fit", " within its range"))
    blocks = found.first.blocks
    lacking = [t for t, b in enumerate(blocks) if np.linalg.matrix_rank(_scaled(b.B)) < len(p.each)]
    if lacking:
        _, _, rows = np.linalg.svd(_scaled(blocks[lacking[0]].B))
        where = f" in {p.measured.periods[lacking[0]]}"
        faults.append(_fault(case, p, p.each, rows[-1], rows[-1], "--each", where))
    if faults:
        raise CaseError(faults)


def _scaled(matrix: Floats) -> Floats:
    size = np.abs(matrix).max(axis=0, initial=0.0)
    return matrix / np.where(size > 0.0, size, 1.0)


def _fault(
    case: Case,
    p: Problem,
    settings: Sequence[Fitted],
    parts: FloatN,
    direction: FloatN,
    option: str,
    where: str = "",
) -> Fault:
    """parts : of the direction, in comparable units."""
    keys, more = _named(settings, parts)
    text = f"the measurements do not determine this{where}: {_together(keys, more)}"
    if (helpful := _most_helpful(case, p, settings, direction)) is not None:
        text += f"; a measurement of {helpful} would help most"
    return Fault(option, None, ", ".join(keys), text)


def _named(settings: Sequence[Fitted], parts: FloatN) -> tuple[list[str], list[bool]]:
    """The settings that have a part in a direction, and whether it goes the way of the first."""
    large = np.flatnonzero(np.abs(parts) > _PART * np.abs(parts).max())
    return [settings[int(k)].variable.key for k in large], [
        bool(parts[k] * parts[large[0]] > 0) for k in large
    ]


def _together(keys: Sequence[str], more: Sequence[bool]) -> str:
    """A direction in words: "more air_in_leakage with less heat_loss fits as well"."""
    if len(keys) == 1:
        return f"any {keys[0]} fits as well"
    others = " and ".join(f"{'more' if m else 'less'} {k}" for k, m in zip(keys[1:], more[1:], strict=True))
    return f"more {keys[0]} with {others} fits as well"


def _most_helpful(case: Case, p: Problem, settings: Sequence[Fitted], direction: FloatN) -> str | None:
    """The usual measurement, not yet made, that a move in this direction changes most by its own
    deviation."""
    base = solved(case.inputs)
    taken = {c.key for c in p.measured.columns}
    keys = [
        k for k in usual_columns(case.inputs, base) if k not in taken and not k.startswith("concentrate.")
    ]
    if not keys:
        return None
    found = tangent(case.inputs, [f.variable for f in settings], keys)
    spread = np.array(
        [usual_deviation(k).at(abs(float(x))) for k, x in zip(keys, found.values[0], strict=True)]
    )
    gain = np.abs(direction @ found.slopes[0]) / np.where(spread > 0.0, spread, np.inf)
    return keys[int(np.nanargmax(gain))] if np.nanmax(gain, initial=0.0) > 0.0 else None


def _told(case: Case, found: Found, loss: str) -> Reconciliation:
    p, last = found.problem, found.last
    return Reconciliation(
        case=case,
        measured=p.measured,
        loss=loss,
        found=found,
        before=global_test(found.first),
        after=global_test(last),
        instruments=tuple(instruments(found)),
        outliers=tuple(outliers(found)),
        settings=tuple(_fitted_values(found)),
        each=tuple(_each_values(found)),
        entangled=tuple(_entangled(found)),
        adjusted=adjusted(found),
    )


def _fitted_values(found: Found) -> list[Setting]:
    p, free = found.problem, found.last.free
    spread = np.full(len(found.answer.shared), np.nan)
    spread[list(free)] = np.sqrt(np.maximum(np.diag(found.last.covariance), 0.0))
    return [
        Setting(f, f.start, found.answer.shared[k : k + 1], spread[k : k + 1], bool(found.answer.held[k]))
        for k, f in enumerate(p.fit)
    ]


def _each_values(found: Found) -> list[Setting]:
    p = found.problem
    values = np.array([b.own for b in found.answer.blocks]).reshape(p.periods, len(p.each))
    spread = np.array([found.last.own_deviations(t) for t in range(p.periods)]).reshape(values.shape)
    return [Setting(f, f.start, values[:, k], spread[:, k], False) for k, f in enumerate(p.each)]


def _entangled(found: Found) -> list[tuple[str, str, float]]:
    p = found.problem
    free = [k for k in found.last.free if k < len(p.fit)]
    covariance = found.last.covariance[: len(free), : len(free)]
    size = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    together = covariance / np.outer(size, size)
    return [
        (p.fit[free[i]].variable.key, p.fit[free[j]].variable.key, float(together[i, j]))
        for i in range(len(free))
        for j in range(i + 1, len(free))
        if abs(together[i, j]) > _TOGETHER
    ]
