"""The case of a page: the file, its changes over it, and the targets that are held; or why there is none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault, NotSolved
from pyrobal.live.asked import Asked, Hold
from pyrobal.live.source import Opened
from pyrobal.report.result import Result
from pyrobal.studies.aim import Aim, aimed, aiming
from pyrobal.studies.measure import solved


class Refused(Exception):
    """What was asked cannot be.

    errors : key of a change -> what is wrong with it, "" for what belongs to none
    unmet : reading that is held -> why it cannot be
    """

    def __init__(self, errors: Mapping[str, str], unmet: Mapping[str, str]) -> None:
        self.errors, self.unmet = dict(errors), dict(unmet)
        super().__init__("; ".join((*self.errors.values(), *self.unmet.values())))


def laid(opened: Opened, asked: Asked) -> Case:
    """The case with the changes. Raises Refused with every error."""
    try:
        return opened.changed(asked.assignments)
    except CaseError as error:
        raise Refused(_by_key(error.faults, asked.changes), {}) from None


def aim_of(case: Case, holds: Sequence[Hold]) -> Aim | None:
    """What the holds ask of a case; None where there are none. Raises Refused."""
    if not holds:
        return None
    try:
        return aiming(case, [f"{hold.reading}={hold.value}" for hold in holds], [hold.by for hold in holds])
    except CaseError as error:
        unmet = {_held(holds, fault): fault.text for fault in reversed(error.faults)}
        raise Refused({}, unmet) from None


def state(opened: Opened, asked: Asked) -> Result:
    """The balance of a state of the page. Raises Refused where there is no such state."""
    case = _settled(opened, asked)
    return Result(case, solved(case.inputs))  # where studies of the same state find it again


def _settled(opened: Opened, asked: Asked) -> Case:
    """The case with the changes, and the settings with which every target is met."""
    case = laid(opened, asked)
    aim = aim_of(case, asked.holds)
    if aim is None:
        return case
    try:
        return aimed(case, aim)
    except NotSolved as error:
        raise Refused({}, dict.fromkeys((hold.reading for hold in asked.holds), str(error))) from None
    except CaseError as error:
        raise Refused(_by_key(error.faults, asked.changes), {}) from None


def _by_key(faults: Sequence[Fault], changes: Mapping[str, str]) -> dict[str, str]:
    """The first fault of each key that was changed; what belongs to none with its place."""
    found: dict[str, str] = {}
    for fault in faults:
        if fault.key in changes:
            found.setdefault(fault.key, fault.text)
        else:
            found[""] = "; ".join(filter(None, (found.get(""), str(fault))))
    return found


def _held(holds: Sequence[Hold], fault: Fault) -> str:
    """The reading of the hold that a fault is of."""
    of = (hold.reading for hold in holds if fault.key in (hold.reading, hold.by.partition("=")[0]))
    return next(of, holds[0].reading)
