"""From the furnaces' gas to acid and stacks, once the copper circuit is closed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pyrobal.arrays import FloatN, total
from pyrobal.flowsheet.circuit import Circuit, converter_source, furnace_source
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.over_time import over_time
from pyrobal.plant import acid_plant, emissions, gas_train, load
from pyrobal.streams.dilution import Limit
from pyrobal.streams.moments import GasOverTime
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
        names = ("gas_train", "load", "acid_plant", "emissions")
        return {name: getattr(self, name) for name in names if getattr(self, name) is not None}


def gas_side(
    inputs: Inputs, circuit: Circuit, copper: FloatN, sulfur_fed: FloatN, blown: FloatN | None = None
) -> GasSide:
    """Clean the gas, make acid, account for what leaves.

    copper : (N,) [kg/s] in the last copper product; sulfur_fed : (N,) [mol/s] with charge and fuels
    blown : (N,) share of the matte that is blown, None for all of it
    """
    train = acid = loaded = emitted = None
    if inputs.gas_train is not None:
        train = gas_train.solve(
            _sources(inputs, circuit), _lines(inputs, circuit), inputs.gas_train, inputs.site
        )
    if inputs.acid_plant is not None and train is not None and train.cleaning is not None:
        limit = _limit(inputs)
        loaded, moments, cleaned = over_time(inputs, circuit, train, limit, blown)
        train, gas = gas_train.deliver(train, cleaned, moments, limit, inputs.site)
        acid = acid_plant.solve(gas, inputs.site, inputs.acid_plant, moments)
    if inputs.emissions is not None:
        emitted = _emissions(inputs, circuit, train, acid, copper, sulfur_fed)
    return GasSide(train, acid, loaded, emitted)


def _limit(inputs: Inputs) -> Limit:
    s = inputs.acid_plant
    assert s is not None
    return Limit(s.flow_limit, None if s.so2_limit is None else s.so2_limit / M_SO2)


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
    over: dict[str, GasOverTime] = {}
    if acid is not None:
        stacks["acid_plant"], over["acid_plant"] = acid.stack_gas, acid.course.tail
    elif train is not None and train.to_acid_plant is not None:
        stacks["cleaned_gas"] = train.to_acid_plant
    stacks |= {name: offgas.gas for name, offgas in train.to_stack.items()} if train is not None else {}
    if train is not None and train.cleaning is not None and train.cleaning.bypass is not None:
        passed = train.cleaning.bypass
        stacks["bypass"], over["bypass"] = passed.gone.gas, passed.over
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
    return emissions.solve(stacks, escaped, sulfur, copper, made * M_ACID, s, over)


def _untreated(inputs: Inputs, c: Circuit) -> dict[str, Stream]:
    """Without a gas train every furnace has a stack of its own."""
    gases: Mapping[str, Stream] = {name: source.gas for name, source in _sources(inputs, c).items()}
    return dict(gases)
