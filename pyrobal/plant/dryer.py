"""Dryer: concentrate moisture driven off with a fuel before smelting."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, column, total, zeros
from pyrobal.constants import NM3, celsius
from pyrobal.fields import quantity, text
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.material import WATER_MASS
from pyrobal.streams.mixing import on_phase
from pyrobal.streams.site import (
    AIR_SPECIES,
    OXYGEN_IN_AIR,
    SiteSettings,
    air_humidity,
    air_species,
    moist_air,
)
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

MILLIGRAM_PER_NM3 = 1e-6 / NM3  # kg/mol


@dataclass(frozen=True)
class DryerSettings:
    """A fuel-fired dryer."""

    fuel: str = text("name of a [fuel.*] table", default="natural_gas")
    efficiency: FloatN = quantity(
        "%", "heat to water and solids, of the fuel's lower heating value", default=0.75, low=0.05, high=1.0
    )
    excess_air: FloatN = quantity(
        "%", "air beyond what the fuel burns with, of that air", default=1.5, low=0.0, high=20.0
    )
    solids_temperature: FloatN = quantity(
        "degC", "dried concentrate leaving", default=celsius(80), low=celsius(0), high=celsius(200)
    )
    gas_temperature: FloatN = quantity(
        "degC", "dryer gas leaving", default=celsius(120), low=celsius(60), high=celsius(400)
    )
    dust: FloatN = quantity(
        "mg/Nm3", "dust in the dry gas behind the filter of the dryer",
        default=20 * MILLIGRAM_PER_NM3, low=0.0, high=1e5 * MILLIGRAM_PER_NM3,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class DryerResult:
    """The dried concentrates, by name, the gas of the dryer, and what it took.

    fed : the concentrates as they came; air : that the fuel burns with; unit_fuel : a unit of it
    fuel : (N,) [unit/s]; heat : (N,) [W]; evaporated : (N,) [kg/s]
    lost : (N,) what went as dust with the gas, over what is left of the solids
    """

    fed: Mapping[str, Stream]
    concentrates: Mapping[str, Stream]
    gas: Stream
    air: Stream
    unit_fuel: Fuel
    fuel: FloatN
    heat: FloatN
    evaporated: FloatN
    lost: FloatN

    @functools.cached_property
    def dust(self) -> Stream:
        """That the filter lets through, of the composition of the dried blend."""
        streams = self.concentrates.values()
        phase = species(*dict.fromkeys(name for x in streams for name in x.phase.names))
        return Stream(phase, total(on_phase(x, phase) for x in streams), self.gas.T).scaled(self.lost)

    @functools.cached_property
    def ledger(self) -> Ledger:
        """Drawn up when first asked for; the loss is what the gas does not carry off."""
        fuel = self.unit_fuel
        inputs = {name: Entry.of(x) for name, x in self.fed.items()}
        inputs["fuel"] = Entry(fuel.elements, fuel.enthalpy, fuel.enthalpy).scaled(self.fuel)
        inputs["air"] = Entry.of(self.air)
        leaving = {**self.concentrates, "gas": self.gas, "dust": self.dust}
        outputs = {name: Entry.of(x) for name, x in leaving.items()}
        loss = total(e.enthalpy for e in inputs.values()) - total(e.enthalpy for e in outputs.values())
        return Ledger(inputs, outputs, {"loss": loss})


def solve(
    concentrates: Mapping[str, Stream],
    moisture_after: FloatN,
    site: SiteSettings,
    s: DryerSettings,
    fuel: Fuel,
) -> DryerResult:
    """Dry each concentrate to ``moisture_after`` (N,) [kg water per kg wet]; a drier one is only warmed.

    Duty: enthalpy of the dried solids and of the vapour at the gas temperature less that of the feed.
    Fuel = duty / (efficiency x lower heating value); what the gas does not carry off is the loss. The dust
    that the filter lets through is of the composition of the dried blend.
    """
    dried = {
        name: _dried(stream, moisture_after, s.solids_temperature) for name, stream in concentrates.items()
    }
    vapour = total(x.amount("H2O(l)") for x in concentrates.values())
    vapour = vapour - total(x.amount("H2O(l)") for x in dried.values())
    warm, cold = (total(x.enthalpy() for x in streams.values()) for streams in (dried, concentrates))
    duty = warm - cold + vapour * species("H2O(g)").enthalpy(s.gas_temperature)[:, 0]
    burnt = np.maximum(duty, 0.0) / (s.efficiency * fuel.heating_value)
    air = moist_air(burnt * fuel.oxygen * (1.0 + s.excess_air) / OXYGEN_IN_AIR, air_humidity(site))
    gas = _gas(burnt, fuel, air, vapour, s.gas_temperature)
    dust = s.dust * (gas.total() - gas.amount("H2O(g)"))
    share = dust / total(x.mass() for x in dried.values())
    return DryerResult(
        fed=concentrates,
        concentrates={name: x.scaled(1.0 - share) for name, x in dried.items()},
        gas=gas,
        air=Stream(air_species(), air, site.air_temperature),
        unit_fuel=fuel,
        fuel=burnt,
        heat=burnt * fuel.heating_value,
        evaporated=vapour * WATER_MASS,
        lost=share / (1.0 - share),
    )


def _dried(stream: Stream, moisture: FloatN, T: FloatN) -> Stream:
    water = stream.amount("H2O(l)")
    dry_mass = stream.mass() - water * WATER_MASS
    left = np.minimum(water, moisture / (1.0 - moisture) * dry_mass / WATER_MASS)
    n = max(len(left), len(stream.n))
    amounts = zeros((n, stream.n.shape[1]), stream.n, left)
    amounts[:] = stream.n
    amounts[:, stream.phase.index("H2O(l)")] = left
    return Stream(stream.phase, amounts, T)


def _gas(burnt: FloatN, fuel: Fuel, air: FloatN, vapour: FloatN, T: FloatN) -> Stream:
    phase = species(*AIR_SPECIES, "SO2(g)", "Rest")
    c, h, n, sulfur, ash = (burnt * fuel.count(e) for e in ("C", "H", "N", "S", "Rest"))
    o2, n2, ar, co2, h2o = air.T
    amounts = (o2 - burnt * fuel.oxygen, n2 + n / 2, ar, co2 + c, h2o + h / 2 + vapour, sulfur, ash)
    return Stream(phase, np.concatenate([column(x) for x in np.broadcast_arrays(*amounts)], axis=1), T)
