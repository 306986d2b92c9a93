"""The case of a page: the file, its changes over it, and the targets that are held; or why there is none."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.limits import unit as unit_of
from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault, NotSolved
from pyrobal.live.asked import Asked, Hold
from pyrobal.live.source import Opened
from pyrobal.report.labels import label
from pyrobal.report.result import Result
from pyrobal.studies.aim import Aim, aiming, chosen
from pyrobal.studies.limit import parted
from pyrobal.studies.measure import solved
from pyrobal.studies.tangent import held

_FURTHEST: Final = 4.0  # of the last step; what goes beyond is begun where the last state was


class Refused(Exception):
    """What was asked cannot be.

    errors : key of a change -> what is wrong with it, "" for what belongs to none
    unmet : reading that is held -> why it cannot be; limits : the words of one -> what is wrong with it
    """

    def __init__(
        self,
        errors: Mapping[str, str],
        unmet: Mapping[str, str] | None = None,
        limits: Mapping[str, str] | None = None,
    ) -> None:
        self.errors, self.unmet, self.limits = dict(errors), dict(unmet or {}), dict(limits or {})
        super().__init__("; ".join((*self.errors.values(), *self.unmet.values(), *self.limits.values())))


def named(opened: Opened, limits: Sequence[str]) -> dict[str, str]:
    """The limits a page adds by the names they have in the case: of one on the same side of the same reading
    its own. Raises Refused for one that is none."""
    present = () if opened.case is None else opened.case.inputs.limit
    of_case = {(limit.reading, limit.upper): limit.name for limit in present}
    found, wrong = {}, {}
    for text in limits:
        try:
            reading, upper, _ = parted(text)
        except ValueError as error:
            wrong[text] = str(error)
        else:
            name = f"{label(reading)} {'limit' if upper else 'minimum'}".replace(".", " ")
            if name in of_case.values():
                name = f"{name} of the page"
            found[of_case.get((reading, upper), name)] = text
    if wrong:
        raise Refused({}, limits=wrong)
    return found


def _bounds(limits: Mapping[str, str]) -> Iterator[str]:
    """The same as ``--set`` takes them; a bare bound is in the unit of its reading."""
    for name, text in limits.items():
        reading, upper, bound = parted(text)
        unit = unit_of(reading, ())
        if unit is not None and re.fullmatch(r"[-+.\deE]+", bound):
            bound += units.behind(unit)
        yield f"limit.{name}.reading={reading}"
        yield f"limit.{name}.{'most' if upper else 'least'}={bound}"


def laid(opened: Opened, asked: Asked, more: Sequence[str] = ()) -> Case:
    """The case with the changes and limits of a page, and ``more``. Raises Refused with every error."""
    limits = named(opened, asked.limits)
    try:
        return opened.changed([*asked.assignments, *_bounds(limits), *more])
    except CaseError as error:
        of_limits, others = {}, []
        for fault in error.faults:
            name = next((name for name in limits if fault.key.startswith(f"limit.{name}.")), None)
            if name is None:
                others.append(fault)
            else:
                of_limits[limits[name]] = fault.text
        raise Refused(_by_key(others, asked.changes), limits=of_limits) from None


def aim_of(case: Case, holds: Sequence[Hold], like: Case | None = None) -> Aim | None:
    """What the holds ask of a case; None where there are none. Raises Refused. like : see ``aiming``"""
    if not holds:
        return None
    try:
        return aiming(
            case, [f"{hold.reading}={hold.value}" for hold in holds], [hold.by for hold in holds], like
        )
    except CaseError as error:
        unmet = {_held(holds, fault): fault.text for fault in reversed(error.faults)}
        raise Refused({}, unmet) from None


def state(
    opened: Opened, asked: Asked, before: Sequence[Result] = (), noise: Mapping[str, float] | None = None
) -> Result:
    """The balance of a state of the page. Raises Refused where there is no such state.

    before : the last states with the same settings following the same readings, from which they are sought
    noise : round-off by unit, where it is known
    """
    case = _settled(opened, asked, before)
    return Result(case, solved(case.inputs), noise)  # where studies of the same state find it again


def _settled(opened: Opened, asked: Asked, before: Sequence[Result]) -> Case:
    """The case with the changes, and the settings with which every target is met."""
    case = laid(opened, asked)
    past = [one.case for one in before]
    aim = aim_of(case, asked.holds, past[-1] if past else None)
    if aim is None:
        return case
    near = laid(opened, asked, _foreseen(past, case, aim)) if past else None
    try:
        return laid(opened, asked, chosen(case, aim, near))
    except NotSolved as error:
        raise Refused({}, dict.fromkeys((hold.reading for hold in asked.holds), str(error))) from None


def _foreseen(past: Sequence[Case], case: Case, aim: Aim) -> list[str]:
    """Settings that will nearly do: where they were last, and further in proportion to what has moved."""
    x = np.array([[float(held(one.inputs, v)[0]) for v in aim.settings] for one in past])
    paths = {v.path for v in aim.settings}
    last, further = x[-1], 0.0
    if len(past) > 1:
        a, b, c = (_numbers(one, paths) for one in (*past[-2:], case))
        if a.shape == b.shape == c.shape and (b != a).any():
            size = np.where(b == 0.0, 1.0, np.abs(b))
            before, now = (b - a) / size, (c - b) / size
            share = float(now @ before / (before @ before))
            further = share if np.allclose(now, share * before, atol=0.0) and abs(share) <= _FURTHEST else 0.0
        last = np.clip(
            last + further * (x[-1] - x[-2]), [t.low for t in aim.targets], [t.high for t in aim.targets]
        )
    return [f"{v.key}={v.text(float(value))}" for v, value in zip(aim.settings, last, strict=True)]


def _numbers(case: Case, without: Collection[str]) -> FloatN:
    """All numbers of a case but some, in the order of its tables."""
    return np.concatenate([value for path, value in case.inputs.arrays() if path not in without])


def _by_key(faults: Sequence[Fault], changes: Mapping[str, str]) -> dict[str, str]:
    """The first fault of each key that was changed, or of a table in which some were; what belongs to none
    with its place."""
    found: dict[str, str] = {}
    for fault in faults:
        if fault.key and any(f"{key}.".startswith(f"{fault.key}.") for key in changes):
            found.setdefault(fault.key, fault.text)
        else:
            found[""] = "; ".join(filter(None, (found.get(""), str(fault))))
    return found


def _held(holds: Sequence[Hold], fault: Fault) -> str:
    """The reading of the hold that a fault is of."""
    of = (hold.reading for hold in holds if fault.key in (hold.reading, hold.by.partition("=")[0]))
    return next(of, holds[0].reading)
