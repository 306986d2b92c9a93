"""From the furnaces' gas to acid and stacks, once the copper circuit is closed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pyrobal.arrays import FloatN, total
from pyrobal.flowsheet.circuit import Circuit, converter_source, furnace_source, taken_up_by_dust
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.over_time import over_time
from pyrobal.plant import acid_plant, emissions, gas_train, load
from pyrobal.plant.dryer import DryerResult
from pyrobal.streams.dilution import Limit
from pyrobal.streams.mixing import on_phase
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import GasOverTime
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
    inputs: Inputs,
    circuit: Circuit,
    dried: DryerResult | None,
    sulfur_fed: FloatN,
    blown: FloatN | None = None,
) -> GasSide:
    """Clean the gas, make acid, account for what leaves.

    sulfur_fed : (N,) [mol/s] with charge and fuels
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
        train, gas, over = gas_train.deliver(train, cleaned, moments, limit, inputs.site)
        acid = acid_plant.solve(gas, inputs.site, inputs.acid_plant, over, moments)
    if inputs.emissions is not None:
        emitted = _emissions(inputs, circuit, dried, GasSide(train, acid, loaded), sulfur_fed)
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
    dried: DryerResult | None,
    gas: GasSide,
    sulfur_fed: FloatN,
) -> emissions.EmissionsResult:
    s, train, acid = inputs.emissions, gas.gas_train, gas.acid_plant
    assert s is not None
    stacks, carried = _stacks(inputs, c, dried, train, acid)
    escaped: dict[str, Stream] = {}
    for name, share, step in (
        ("furnace", s.smelting_escape, c.smelting),
        ("converter", s.converting_escape, c.converting),
    ):
        if step is not None:
            escaped[name] = step.gas.scaled(share)
            if name != "furnace" or train is not None:  # else put back before it meets a hood
                carried[f"escaped_{name}"] = step.dust.scaled(share)
    furnaces = (c.smelting, c.converting, c.anode_furnace)
    to_gas = total(step.gas.element("S") for step in furnaces if step is not None)
    made = acid.acid.production() if acid is not None else np.zeros(1)
    swing = None if gas.load is None else gas.load.swing
    around = emissions.Surroundings(
        carried, inputs.stack, _vessels(inputs, c), inputs.site, _over_time(train, acid), swing
    )
    sulfur = emissions.Sulfur(sulfur_fed, to_gas, made)
    return emissions.solve(stacks, escaped, sulfur, c.copper, made * M_ACID, s, around)


def _stacks(
    inputs: Inputs,
    c: Circuit,
    dried: DryerResult | None,
    train: gas_train.GasTrainResult | None,
    acid: acid_plant.AcidPlantResult | None,
) -> tuple[dict[str, Stream], dict[str, Stream]]:
    """Gas by stack, and the dust it carries; the first is that of the acid plant if any."""
    found: dict[str, tuple[Stream, Stream | None]] = {}
    if train is None:
        found |= {name: (gas, None) for name, gas in _untreated(inputs, c).items()}
    else:
        if acid is not None:
            found["acid_plant"] = (acid.stack_gas, train.carried_to_stack)
        elif train.to_acid_plant is not None:
            found["cleaned_gas"] = (train.to_acid_plant, train.carried_on)
        found |= {name: (offgas.gas, offgas.carried) for name, offgas in train.to_stack.items()}
        if train.cleaning is not None and (passed := train.cleaning.bypass) is not None:
            found["bypass"] = (passed.gone.gas, passed.gone.carried)
    if c.slag_cleaning is not None and c.slag_cleaning.gas is not None:
        found["slag_cleaning"] = (c.slag_cleaning.gas, c.slag_cleaning.dust)
    if dried is not None:
        found["dryer"] = (dried.gas, dried.dust)
    gases = {name: gas for name, (gas, _) in found.items()}
    return gases, {name: dust for name, (_, dust) in found.items() if dust is not None}


def _over_time(
    train: gas_train.GasTrainResult | None, acid: acid_plant.AcidPlantResult | None
) -> dict[str, GasOverTime]:
    """Gas of the stacks that follow the vessels, by stack."""
    over = {"acid_plant": acid.course.tail} if acid is not None else {}
    if train is not None and train.cleaning is not None and train.cleaning.bypass is not None:
        over["bypass"] = train.cleaning.bypass.over
    return over


def _vessels(inputs: Inputs, c: Circuit) -> FloatN:
    """(N,) converting vessels with a hood: those in work; of a continuous converter one."""
    cycle = c.converting.cycle if c.converting is not None else None
    if cycle is None:
        return np.ones(1)
    return np.full(1, float(inputs.load.count)) if inputs.load is not None else np.maximum(cycle.vessels, 1.0)


def _untreated(inputs: Inputs, c: Circuit) -> dict[str, Stream]:
    """Without a gas train every furnace has a stack of its own; what its dust takes up is not in it."""
    gases = {name: source.gas for name, source in _sources(inputs, c).items()}
    for name, step in (("furnace", "smelting"), ("converter", "converting")):
        if (part := taken_up_by_dust(inputs, c).get(step)) is not None:
            gas = gases[name]
            gases[name] = Stream(gas.phase, gas.n - on_phase(part, gas.phase), gas.T)
    return gases
