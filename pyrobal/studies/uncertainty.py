"""Uncertainty: how sure the readings are, given how sure the settings are, and what to measure better."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN, Floats
from pyrobal.case.blend import BLEND_RATE
from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault
from pyrobal.studies.aim import Aim
from pyrobal.studies.indices import Indices, sobol_indices
from pyrobal.studies.limit import Limit, in_force
from pyrobal.studies.measure import reading_units
from pyrobal.studies.run import Progress, Task, blocks, chunk_of, fingerprint, unseen
from pyrobal.studies.spread import Source, Spread, usual, with_deportment

ENTHALPIES: Final = "formation enthalpies"
SAMPLES: Final = 512
MOST_SAMPLES: Final = 2**16
PERCENTILES: Final = (5.0, 50.0, 95.0)
_ROUNDING: Final = 1e-9  # of the reading; a deviation below that is none
_LOSSES: Final = ("smelting.heat_loss", "smelting.heat_loss_per_tonne")  # what errors of the heat act as


@dataclass(frozen=True)
class Scatter:
    """A reading over the draws, in its plant unit; nan where no draw has an answer."""

    unit: str
    mean: float
    deviation: float
    percentiles: tuple[float, ...]  # as PERCENTILES


@dataclass(frozen=True)
class Risk:
    """The chance of breaking a limit, of the draws that have an answer, with its 95 % interval."""

    limit: Limit
    chance: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """sources : what was varied, in the order of the indices; the last may be ``ENTHALPIES``
    scatter, indices : by reading
    draws : how many balances the scatter is of; unsolved : how many of them have no answer
    samples, seed : with which the study can be repeated to the last digit
    """

    sources: tuple[Source, ...]
    scatter: Mapping[str, Scatter]
    indices: Mapping[str, Indices]
    risks: tuple[Risk, ...]
    draws: int
    unsolved: int
    samples: int
    seed: int


def uncertainty(
    case: Case,
    readings: Sequence[str],
    stated: Sequence[Source] = (),
    limits: Sequence[Limit] = (),
    *,
    aim: Aim | None = None,
    only_stated: bool = False,
    samples: int = SAMPLES,
    seed: int = 1,
    executor: Executor | None = None,
    progress: Progress = unseen,
) -> Uncertainty:
    """Propagate the spread of settings and formation enthalpies to readings.

    aim : met by its setting in every draw, whatever that draw is off; the error in watts that the formation
        enthalpies bring is that of the draw with the setting which meets the aim in the case itself
    stated : takes the place of the usual spread of the same settings; only_stated : vary nothing else
    limits : the chance of breaking each is told, and each of the case
    samples : base draws, rounded up to a power of two; each source takes so many balances, and two more

    Draws are a scrambled Sobol sequence (Owen 1998, J. Complexity 14, 466-489), sources independent.
    Raises CaseError with everything that is wrong with what was asked.
    """
    varied = [spread.variable.key for source in stated for spread in source.spreads]
    limits = in_force(case, limits, varied)
    wanted = reading_units(case, list(dict.fromkeys([*readings, *(limit.key for limit in limits)])))
    base = dataclasses.replace(case, inputs=with_deportment(case.inputs))
    sources = _sources(base, stated, only_stated, aim)
    if aim is not None:
        base = _near(base, aim)
    if not 2 <= samples <= MOST_SAMPLES:
        raise CaseError([Fault("--samples", None, "", f"{samples} is not between 2 and {MOST_SAMPLES}")])
    n = 2 ** math.ceil(math.log2(samples))
    draw = _Draw(base, tuple(sources), n, seed, aim)
    shown = np.apply_along_axis(_settled, 0, draw.solved(wanted, executor, progress))
    a, b, mixed = shown[:n], shown[n : 2 * n], shown[2 * n :].reshape(len(sources), n, len(wanted))
    columns = dict(zip(wanted, range(len(wanted)), strict=True))
    return Uncertainty(
        tuple(sources),
        {key: _scatter(shown[: 2 * n, columns[key]], wanted[key]) for key in readings},
        {
            key: sobol_indices(a[:, i], b[:, i], mixed[:, :, i], seed)
            for key, i in columns.items()
            if key in readings
        },
        tuple(_risk(limit, shown[: 2 * n, columns[limit.key]]) for limit in limits),
        draws=2 * n,
        unsolved=int(np.isnan(shown[: 2 * n]).any(axis=1).sum()),
        samples=n,
        seed=seed,
    )


def _near(case: Case, aim: Aim) -> Case:
    """The case with the setting that meets the aim, so that draws begin close to theirs; else as it is."""
    x, met = aim.solved(case.inputs)
    return dataclasses.replace(case, inputs=aim.put(case.inputs, x)) if met.all() else case


def _sources(case: Case, stated: Sequence[Source], only_stated: bool, aim: Aim | None) -> list[Source]:
    replaced = {spread.variable.key for source in stated for spread in source.spreads}
    if BLEND_RATE in replaced:
        replaced |= {f"concentrate.{c.name}.rate" for c in case.inputs.concentrate}
    by = set() if aim is None else aim.keys
    for key in by & replaced:
        raise CaseError([Fault("--by", None, key, "is varied already; aim with another setting")])
    for key in () if only_stated else by & set(_LOSSES):
        text = "takes up what the formation enthalpies are off; aim with another setting, or say --only"
        raise CaseError([Fault("--by", None, key, text)])
    replaced |= by
    kept = []
    for source in () if only_stated else usual(case.inputs):
        spreads = tuple(spread for spread in source.spreads if spread.variable.key not in replaced)
        kept += [Source(source.name, spreads)] if spreads else []
    found = [*stated, *kept, *([] if only_stated else [Source(ENTHALPIES, ())])]
    if not found:
        raise CaseError([Fault("--vary", None, "", "nothing is varied; state a spread, e.g. KEY=+-1 %")])
    return found


@dataclass(frozen=True, eq=False)
class _Draw:
    """The balances to run: two independent draws of everything, then one mixture of them for each source."""

    case: Case
    sources: tuple[Source, ...]
    n: int
    seed: int
    aim: Aim | None

    @property
    def spreads(self) -> list[Spread]:
        return [spread for source in self.sources for spread in source.spreads]

    def solved(self, wanted: Mapping[str, str], executor: Executor | None, progress: Progress) -> Floats:
        """The readings ``wanted`` (key -> plant unit) of every balance, in plant units."""
        parts = []
        for block in blocks(self.tasks(tuple(wanted)), executor):
            parts.append(block.readings)
            progress(len(block.readings), self.n * (len(self.sources) + 2))
        columns = zip(np.concatenate(parts).T, wanted.values(), strict=True)
        return np.column_stack([units.display(x, unit) for x, unit in columns])

    def tasks(self, readings: tuple[str, ...]) -> Iterator[Task]:
        """In chunks, each of as many draws as it holds rows for."""
        variables = tuple(spread.variable for spread in self.spreads)
        enthalpies = self.sources[-1].name == ENTHALPIES
        for rows in _chunks(self._draws(), chunk_of(self.case.inputs)):
            values = np.empty((len(rows), 0))
            if variables:
                drawn = [s.quantile(x) for s, x in zip(self.spreads, rows.T, strict=False)]
                values = np.column_stack(drawn)
            errors = _standard_normal(rows[:, -1]) if enthalpies else None
            yield Task(self.case.inputs, variables, values, readings, self.aim, fingerprint(), errors)

    def _draws(self) -> Iterator[Floats]:
        """(n, columns) each: the spreads, and one more column for the enthalpies where they vary."""
        first, second = np.hsplit(self._uniform(), 2)
        yield from (first, second)
        for columns in self._columns():
            mixed = first.copy()
            mixed[:, columns] = second[:, columns]
            yield mixed

    def _columns(self) -> Iterator[list[int]]:
        at = 0
        for source in self.sources:
            width = max(len(source.spreads), 1)  # enthalpies: one column
            yield list(range(at, at + width))
            at += width

    def _uniform(self) -> Floats:
        from scipy.stats import qmc

        width = sum(len(columns) for columns in self._columns())
        sequence = qmc.Sobol(2 * width, rng=np.random.default_rng(self.seed))
        points = sequence.random_base2(round(math.log2(self.n)))
        return np.clip(points, 2.0**-53, 1.0 - 2.0**-53)


def _chunks(draws: Iterable[Floats], size: int) -> Iterator[Floats]:
    """The rows of all draws one after the other, ``size`` at a time."""
    held: list[Floats] = []
    for draw in draws:
        held.append(draw)
        if sum(map(len, held)) >= size:
            rows = np.concatenate(held)
            whole = len(rows) // size * size
            yield from np.split(rows[:whole], whole // size)
            held = [rows[whole:]]
    rows = np.concatenate(held)
    if len(rows):
        yield rows


def _standard_normal(u: FloatN) -> FloatN:
    from scipy.special import ndtri

    return np.asarray(ndtri(u))


def _settled(values: FloatN) -> FloatN:
    """The draws of a reading; all alike where round-off is all that tells them apart, as of one aimed at."""
    finite = values[np.isfinite(values)]
    if finite.size and np.ptp(finite) <= _ROUNDING * np.abs(finite).max():
        return np.where(np.isfinite(values), finite.mean(), values)
    return values


def _scatter(values: FloatN, unit: str) -> Scatter:
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return Scatter(unit, math.nan, math.nan, (math.nan,) * len(PERCENTILES))
    tails = tuple(float(x) for x in np.percentile(finite, PERCENTILES))
    return Scatter(unit, float(finite.mean()), float(finite.std()), tails)


def _risk(limit: Limit, values: FloatN) -> Risk:
    """Share of broken draws with the interval of Wilson 1927, J. Am. Stat. Assoc. 22, 209-212."""
    finite = values[np.isfinite(values)]
    count = len(finite)
    if count == 0:
        return Risk(limit, math.nan, math.nan, math.nan)
    share = float((limit.room(finite) < 0.0).mean())
    z = 1.959964
    middle = (share + z * z / (2 * count)) / (1 + z * z / count)
    half = z / (1 + z * z / count) * math.sqrt(share * (1 - share) / count + (z / (2 * count)) ** 2)
    return Risk(limit, share, max(middle - half, 0.0), min(middle + half, 1.0))
