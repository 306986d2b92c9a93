"""The case of a page: the file, its changes over it, and the targets that are held; or why there is none."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from pyrobal import units
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


def aim_of(case: Case, holds: Sequence[Hold]) -> Aim | None:
    """What the holds ask of a case; None where there are none. Raises Refused."""
    if not holds:
        return None
    try:
        return aiming(case, [f"{hold.reading}={hold.value}" for hold in holds], [hold.by for hold in holds])
    except CaseError as error:
        unmet = {_held(holds, fault): fault.text for fault in reversed(error.faults)}
        raise Refused({}, unmet) from None


def state(
    opened: Opened, asked: Asked, before: Result | None = None, noise: Mapping[str, float] | None = None
) -> Result:
    """The balance of a state of the page. Raises Refused where there is no such state.

    before : a state with the same settings following the same readings, from which they are sought
    noise : round-off by unit, where it is known
    """
    case = _settled(opened, asked, before)
    return Result(case, solved(case.inputs), noise)  # where studies of the same state find it again


def _settled(opened: Opened, asked: Asked, before: Result | None) -> Case:
    """The case with the changes, and the settings with which every target is met."""
    case = laid(opened, asked)
    aim = aim_of(case, asked.holds)
    if aim is None:
        return case
    near = None if before is None else laid(opened, asked, _followers(before.case, aim))
    try:
        return laid(opened, asked, chosen(case, aim, near))
    except NotSolved as error:
        raise Refused({}, dict.fromkeys((hold.reading for hold in asked.holds), str(error))) from None


def _followers(case: Case, aim: Aim) -> list[str]:
    """What a case was given last for each setting that follows."""
    given = {one.partition("=")[0]: one for one in case.overrides}
    return [given[key] for key in aim.keys if key in given]


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
