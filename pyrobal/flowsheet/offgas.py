"""From the furnaces' gas to acid and stacks, once the copper circuit is closed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pyrobal.arrays import FloatN, total
from pyrobal.flowsheet.circuit import Circuit, converter_source, furnace_source
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.plant import acid_plant, emissions, gas_train, load
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_ACID, M_SO2


@dataclass(frozen=True, eq=False)
class GasSide:
    """The steps that the case has; None where it has not."""

    gas_train: gas_train.GasTrainResult | None = None
    acid_plant: acid_plant.AcidPlantResult | None = None
    load: load.LoadResult | None = None
    emissions: emissions.EmissionsResult | None = None

    def steps(self) -> dict[str, Any]:
        """Section of the case -> result, in plant order."""
        names = ("gas_train", "acid_plant", "load", "emissions")
        return {name: getattr(self, name) for name in names if getattr(self, name) is not None}


def gas_side(inputs: Inputs, circuit: Circuit, copper: FloatN, sulfur_fed: FloatN) -> GasSide:
    """Clean the gas, make acid, account for what leaves.

    copper : (N,) [kg/s] in the last copper product; sulfur_fed : (N,) [mol/s] with charge and fuels
    """
    train = acid = loaded = emitted = None
    if inputs.gas_train is not None:
        train = gas_train.solve(
            _sources(inputs, circuit), _lines(inputs, circuit), inputs.gas_train, inputs.site
        )
    if inputs.acid_plant is not None and train is not None and train.to_acid_plant is not None:
        acid = acid_plant.solve(train.to_acid_plant, inputs.site, inputs.acid_plant)
    if inputs.load is not None and acid is not None and train is not None:
        loaded = _load(inputs, circuit, train, acid)
    if inputs.emissions is not None:
        emitted = _emissions(inputs, circuit, train, acid, copper, sulfur_fed)
    return GasSide(train, acid, loaded, emitted)


def _sources(inputs: Inputs, c: Circuit) -> dict[str, gas_train.Source]:
    sources = {"furnace": furnace_source(inputs, c.smelting)}
    if c.converting is not None:
        sources["converter"] = converter_source(inputs, c.converting)
    if c.anode_furnace is not None:
        sources["anode"] = gas_train.Source(c.anode_furnace.gas, c.anode_furnace.dust)
    return sources


def _lines(inputs: Inputs, c: Circuit) -> dict[str, gas_train.GasLineSettings]:
    lines: dict[str, gas_train.GasLineSettings] = {"furnace": inputs.furnace_gas}
    if c.converting is not None:
        lines["converter"] = inputs.converter_gas
    if c.anode_furnace is not None:
        lines["anode"] = inputs.anode_gas
    return lines


def _load(
    inputs: Inputs, c: Circuit, train: gas_train.GasTrainResult, acid: acid_plant.AcidPlantResult
) -> load.LoadResult | None:
    """Gas of the vessels over time as it reaches the acid plant.

    The course at the mouth is scaled to what arrives on average: dry gas of the hot lines and the leaks,
    dilution and washing behind them are shared out by the lines' dry flow and SO2.
    """
    settings = inputs.load
    cycle = c.converting.cycle if c.converting is not None else None
    if cycle is None or settings is None or inputs.acid_plant is None:
        return None
    to_acid = {n: x.outlet.gas for n, x in train.lines.items() if x.settings.to == "acid_plant"}
    if "converter" not in to_acid:
        return None
    dry, so2 = _dry(acid.gas), acid.gas.amount("SO2(g)")
    share_dry = _dry(to_acid["converter"]) / total(_dry(g) for g in to_acid.values())
    share_so2 = to_acid["converter"].amount("SO2(g)") / total(g.amount("SO2(g)") for g in to_acid.values())
    course = cycle.course
    mean_gas = cycle.per_second * (course.gas * course.duration).sum(axis=1)
    mean_so2 = cycle.per_second * (course.so2 * course.duration).sum(axis=1)
    vessel = load.Cycle(
        course.duration,
        course.gas * (dry * share_dry / mean_gas)[:, None],
        course.so2 * (so2 * share_so2 / mean_so2)[:, None],
    )
    steady = load.Gas(dry * (1.0 - share_dry), so2 * (1.0 - share_so2))
    so2_limit = inputs.acid_plant.so2_limit
    limit = load.Gas(inputs.acid_plant.flow_limit, None if so2_limit is None else so2_limit / M_SO2)
    return load.solve(vessel, steady, limit, settings, cycles=cycle.per_second)


def _dry(gas: Stream) -> FloatN:
    return gas.total() - gas.amount("H2O(g)")


def _emissions(
    inputs: Inputs,
    c: Circuit,
    train: gas_train.GasTrainResult | None,
    acid: acid_plant.AcidPlantResult | None,
    copper: FloatN,
    sulfur_fed: FloatN,
) -> emissions.EmissionsResult:
    s = inputs.emissions
    assert s is not None
    stacks: dict[str, Stream] = {}
    if acid is not None:
        stacks["acid_plant"] = acid.stack_gas
    elif train is not None and train.to_acid_plant is not None:
        stacks["cleaned_gas"] = train.to_acid_plant
    stacks |= {name: offgas.gas for name, offgas in train.to_stack.items()} if train is not None else {}
    stacks |= _untreated(inputs, c) if train is None else {}
    if c.slag_cleaning is not None and c.slag_cleaning.gas is not None:
        stacks["slag_cleaning"] = c.slag_cleaning.gas
    escaped = {"furnace": c.smelting.gas.scaled(s.smelting_escape)}
    gases = [c.smelting.gas]
    if c.converting is not None:
        escaped["converter"] = c.converting.gas.scaled(s.converting_escape)
        gases.append(c.converting.gas)
    gases += [c.anode_furnace.gas] if c.anode_furnace is not None else []
    made = acid.acid.production() if acid is not None else np.zeros(1)
    sulfur = emissions.Sulfur(sulfur_fed, total(g.element("S") for g in gases), made)
    return emissions.solve(stacks, escaped, sulfur, copper, made * M_ACID, s)


def _untreated(inputs: Inputs, c: Circuit) -> dict[str, Stream]:
    """Without a gas train every furnace has a stack of its own."""
    gases: Mapping[str, Stream] = {name: source.gas for name, source in _sources(inputs, c).items()}
    return dict(gases)
