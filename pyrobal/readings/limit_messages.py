"""The limits that a case gives in [[limit]], and those of the acid plant that no schedule can keep."""

from __future__ import annotations

from collections.abc import Iterator

from pyrobal.constants import NM3_PER_HOUR, PERCENT, TONNE_PER_HOUR
from pyrobal.errors import Reason
from pyrobal.flowsheet.results import Results
from pyrobal.readings.limits import limits
from pyrobal.readings.message import Message, at, figure
from pyrobal.readings.registry import find, values
from pyrobal.thermo.acid_solution import M_SO2


def limit_messages(r: Results, i: int) -> Iterator[Message]:
    """Those that scenario i breaks, and those that judge nothing in this case."""
    for name, limit in limits(r.inputs).items():
        if not limit.own:
            continue
        key, (reading, member) = f"limit.{name}", find(limit.reading)
        if limit.reading not in reading.keys(r):
            yield Message("caution", key, f"judges nothing: this case has no {limit.reading}")
        elif limit.unit != reading.unit_for(r):
            text = f"judges nothing: {limit.reading} is in {reading.unit_for(r)} here, not in {limit.unit}"
            yield Message("caution", key, text)
        elif limit.room(values(r, reading, member))[i] < 0.0:
            side = "above the most" if limit.upper else "below the least"
            yield Message("caution", key, f"broken: {limit.reading} is {side} that is allowed")


def gone_by(r: Results, i: int) -> Iterator[Message]:
    """Gas that the acid plant cannot take: how much, how long, and what would keep it."""
    if r.bypass is None or not (r.bypass.over.flow[i] > 0.0).any():
        return
    so2, time = at(r, "acid.bypass.so2", i) / TONNE_PER_HOUR, at(r, "acid.bypass.time", i) / PERCENT
    remedy = "feed less, or raise what the acid plant takes"
    if r.load is not None and not (short := r.load.shortfall[i] > 0.0).any():
        remedy += '; load.schedule = "limited" holds the vessels back instead'
    elif r.load is not None:
        limit = "flow_limit" if short[0] else "so2_limit"
        remedy += f"; no schedule keeps it, as one vessel blowing is above acid_plant.{limit} already"
    yield Message(
        "caution",
        "acid.bypass.so2",
        f"more gas comes than the acid plant takes (flow_limit or so2_limit) {figure(time)} % of the time: "
        f"{figure(so2)} t/h SO2 on the mean goes by it to a stack; {remedy}",
    )


def impossible_schedule(r: Results, i: int) -> Iterator[Message]:
    """Limits of the acid plant that no schedule of a scenario can keep, and by how much."""
    x = r.load
    assert x is not None
    what = {
        Reason.BASE_LOAD_ABOVE_LIMIT: "the steady gas alone",
        Reason.VESSEL_ABOVE_LIMIT: "the steady gas with one vessel blowing",
    }.get(Reason(int(x.reason[i])))
    units = (("flow", 1.0 / NM3_PER_HOUR, "Nm3/h", "dry gas with the air it needs"),
             ("so2", M_SO2 / TONNE_PER_HOUR, "t/h", "SO2"))  # fmt: skip
    for k, (name, per, unit, of) in enumerate(units):
        above = x.shortfall[i, k] * per
        if what is not None and above > 0:
            limit = x.limit[i, k] * per
            text = (
                f"{what} comes to {figure(limit + above)} {unit} of {of}: above it by {figure(above)} {unit}"
            )
            yield Message("limit", f"acid_plant.{name}_limit", text)
