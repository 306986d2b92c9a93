"""The cleaned gas over time: steady furnaces, and batch vessels that follow a schedule."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pyrobal.arrays import FloatN, Floats, column, ratio, total
from pyrobal.flowsheet.circuit import Circuit
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.plant import load
from pyrobal.plant.converting.result import Cycle
from pyrobal.plant.gas_train import GasTrainResult
from pyrobal.streams.dilution import AirNeed, Limit
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import TimeSteps


def over_time(
    inputs: Inputs, c: Circuit, train: GasTrainResult, limit: Limit, blown: FloatN | None
) -> tuple[load.LoadResult | None, TimeSteps, Stream]:
    """The schedule of the vessels, the moments it makes, and the cleaned gas (N T, S) at each of them.

    blown : (N,) share of the matte that is blown in ``c``; None where all is
    """
    cleaned = train.cleaning.cleaned.gas if train.cleaning is not None else None
    assert cleaned is not None
    to_acid = {n: x.outlet.gas for n, x in train.lines.items() if x.settings.to == "acid_plant"}
    cycle = c.converting.cycle if c.converting is not None else None
    if inputs.load is None or c.converting is None or cycle is None or "converter" not in to_acid:
        return None, TimeSteps(), cleaned
    asked = cycle.per_second / (np.ones(1) if blown is None else blown)
    from_vessels = _from_vessels(cleaned, to_acid)
    need = AirNeed(train.settings.so2_highest, train.settings.o2_so2_lowest)
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        vessel = _vessel(c.converting.hood_air, cycle, from_vessels)
        found = load.solve(vessel, _parts(cleaned) - _parts(from_vessels), need, limit, inputs.load, asked)
        return found, TimeSteps(load.STEPS), _laid_out(cleaned, from_vessels, found)


def _from_vessels(cleaned: Stream, lines: Mapping[str, Stream]) -> Stream:
    """What of the cleaned gas is that of converting: of each species its share in the hot lines.

    Water, of which the wash leaves what saturates the gas, is shared out by dry gas.
    """
    own, whole = (lines["converter"], *lines.values())[:1], tuple(lines.values())
    there = [ratio(_dry(own[0]), total(_dry(g) for g in whole))] * len(cleaned.phase)
    for k, name in enumerate(cleaned.phase.names):
        if name != "H2O(g)":
            there[k] = ratio(own[0].amount(name), total(g.amount(name) for g in whole))
    return Stream(cleaned.phase, cleaned.n * np.stack(np.broadcast_arrays(*there), axis=1), cleaned.T)


def _vessel(hood_air: Stream, cycle: Cycle, mean: Stream) -> load.Cycle:
    """Gas of one vessel over its cycle as it reaches the acid plant, parted as ``load.PARTS``.

    The course behind the hood, scaled part by part to what arrives on the mean: what leaks in on the way
    follows the gas.
    """
    course = cycle.course
    drawn = cycle.hood_gas - course.gas
    o2 = course.o2 + drawn * column(ratio(hood_air.amount("O2(g)"), hood_air.total()))
    shape = np.stack([course.so2, o2, cycle.hood_gas - course.so2 - o2], axis=1)
    made = cycle.per_second[:, None] * (shape * course.duration[:, None, :]).sum(axis=2)
    return load.Cycle(course.duration, shape * ratio(_parts(mean), made)[:, :, None])


def _parts(gas: Stream) -> Floats:
    """(N, P) [mol/s] of dry gas, as ``load.PARTS``."""
    so2, o2 = gas.amount("SO2(g)"), gas.amount("O2(g)")
    return np.stack([so2, o2, _dry(gas) - so2 - o2], axis=1)


def _laid_out(cleaned: Stream, vessels: Stream, found: load.LoadResult) -> Stream:
    """The cleaned gas (N T, S) at every moment; each species follows its part, and the mean is kept."""
    course = ratio(found.vessels, found.vessels.mean(axis=2, keepdims=True))
    part = [{"SO2(g)": 0, "O2(g)": 1}.get(name, 2) for name in cleaned.phase.names]
    n = (cleaned.n - vessels.n)[:, None, :] + vessels.n[:, None, :] * course[:, part].transpose(0, 2, 1)
    n = np.broadcast_to(n, (len(course), *n.shape[1:]))
    T = np.broadcast_to(cleaned.T, (len(course),))
    return Stream(cleaned.phase, n.reshape(-1, n.shape[2]), np.repeat(T, load.STEPS))


def _dry(gas: Stream) -> FloatN:
    return gas.total() - gas.amount("H2O(g)")
