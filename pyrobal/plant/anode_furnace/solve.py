"""The anode furnace as a whole: gases, burner, hood, casting and the ledger."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, IntN, column, finite
from pyrobal.constants import WATT
from pyrobal.errors import Reason
from pyrobal.plant.anode_furnace.refining import Refined, carriers, refine
from pyrobal.plant.anode_furnace.settings import AnodeFurnaceSettings
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.hood import BURNT_GAS, burn, burnt_gas, combustion_air
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.material import Material
from pyrobal.streams.mixing import gone_cold, on_phase
from pyrobal.streams.reductant import BATH_GAS, Reductant, bath_gas, reductant
from pyrobal.streams.site import (
    OXYGEN_IN_AIR,
    SiteSettings,
    air_humidity,
    air_species,
    moist_air,
)
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species


@dataclass(frozen=True, eq=False, kw_only=True)
class AnodeFurnaceResult:
    """One balance per scenario, the mean over time.

    copper : as it is cast; anodes, rejects : cast and cold
    slag, gas, dust : gas after the hood, burnt out
    oxidation_air, burner_air, hood_air : as drawn in
    refined : the amounts behind the streams
    reductant, fuel : (N,) [unit/s] of ``unit_reductant`` and ``unit_fuel``
    surplus : (N,) [W] heat to spare
    reason : (N,) errors.Reason
    """

    settings: AnodeFurnaceSettings
    copper: Stream
    anodes: Stream
    rejects: Stream
    slag: Stream
    gas: Stream
    dust: Stream
    oxidation_air: Stream
    burner_air: Stream
    hood_air: Stream
    refined: Refined
    reductant: FloatN
    unit_reductant: Fuel
    fuel: FloatN
    unit_fuel: Fuel
    surplus: FloatN
    ledger: Ledger
    reason: IntN

    @property
    def anodes_per_second(self) -> FloatN:
        """(N,) [1/s] good anodes."""
        return self.anodes.mass() / self.settings.anode_mass


@dataclass(frozen=True, eq=False)
class Burner:
    """One unit of fuel in the furnace.

    air, flue : (N, 5), (N, 6) [mol per unit] moist air and flue gas; ash : (N,) [mol per unit]
    available : (N,) [J per unit] enthalpy of fuel and air less that of flue gas and ash as they leave
    """

    fuel: Fuel
    air: FloatNS
    flue: FloatNS
    ash: FloatN
    available: FloatN


def solve(
    blister: Stream,
    reverts: Material | None,
    site: SiteSettings,
    s: AnodeFurnaceSettings,
    reductant_fuel: Fuel,
    burner_fuel: Fuel,
) -> AnodeFurnaceResult:
    """Refine blister, and scrap or rejects melted with it, and cast anodes.

    Heat of the furnace: charge + air + reductant + burner = copper + slag + dust + gas at the mouth + loss.
    Carbon monoxide, hydrogen and soot of the reduction burn in the hood; that heat leaves with the gas.
    References: Davenport, King, Schlesinger & Biswas 2002, Extractive Metallurgy of Copper, 4th ed., chapter
    on fire refining and casting of anodes.
    """
    charge = Entry.of(blister) if reverts is None else Entry.of(blister) + reverts.entry
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        refined = refine(charge.elements, s)
        unit = reductant(reductant_fuel, s.reductant_efficiency, s.reductant_to_co)
        return _assemble(charge, refined, unit, _burner(burner_fuel, site, s), site, s)


def _burner(fuel: Fuel, site: SiteSettings, s: AnodeFurnaceSettings) -> Burner:
    air = moist_air(fuel.oxygen * (1.0 + s.burner_excess_air) / OXYGEN_IN_AIR, air_humidity(site))
    c, h, n, sulfur, ash = (fuel.count(e) for e in ("C", "H", "N", "S", "Rest"))
    o2, n2, ar, co2, h2o = air.T
    parts = np.broadcast_arrays(o2 - fuel.oxygen, n2 + n / 2, ar, co2 + c, h2o + h / 2, sulfur)
    flue = np.stack(parts, axis=1)
    brought = fuel.enthalpy + (air * air_species().enthalpy(site.air_temperature)).sum(axis=1)
    carried = (flue * burnt_gas().enthalpy(s.gas_temperature)).sum(axis=1)
    carried = carried + ash * species("Rest").enthalpy(s.gas_temperature)[:, 0]
    return Burner(fuel, air, flue, ash, brought - carried)


def _blown(refined: Refined, site: SiteSettings, s: AnodeFurnaceSettings) -> tuple[Stream, FloatNS]:
    """Oxidation air, and the gas (N, 6) [mol/s] on BURNT_GAS that it becomes."""
    dry = refined.taken_up / 2 / s.air_efficiency / OXYGEN_IN_AIR
    air = moist_air(dry, air_humidity(site))
    gas = np.concatenate([air, column(refined.so2 + 0.0 * dry)], axis=1)
    gas[:, BURNT_GAS.index("O2(g)")] -= refined.taken_up / 2
    return Stream(air_species(), air, site.air_temperature), gas


def _assemble(
    charge: Entry,
    refined: Refined,
    unit: Reductant,
    burner: Burner,
    site: SiteSettings,
    s: AnodeFurnaceSettings,
) -> AnodeFurnaceResult:
    axes = carriers()
    copper = Stream(axes["anode"][0], refined.anode, s.temperature)
    slag = Stream(axes["slag"][0], refined.slag, s.temperature)
    air, oxidised = _blown(refined, site, s)
    charged = refined.removed / unit.oxygen
    risen = Stream(bath_gas(), column(charged) * unit.gas, s.gas_temperature)
    fume = _ashes(refined.dust, charged * unit.fuel.count("Rest"), s)
    loss = s.heat_loss if s.heat_loss is not None else s.heat_loss_per_tonne * copper.mass()
    gross = charge.enthalpy + air.enthalpy() + charged * unit.fuel.enthalpy - loss
    for stream in (copper, slag, fume, risen, Stream(burnt_gas(), oxidised, s.gas_temperature)):
        gross = gross - stream.enthalpy()
    fuel = np.where((gross < 0) & (burner.available > 0), -gross / burner.available, 0.0)
    surplus = gross + fuel * burner.available
    flue = Stream(burnt_gas(), oxidised + column(fuel) * burner.flue, s.gas_temperature)
    hood_air = combustion_air(risen, s.hood_air, site)
    gas, dust = burn(_together(flue, risen), hood_air, _ashes(fume.n, fuel * burner.ash, s))
    burner_air = Stream(air_species(), column(fuel) * burner.air, site.air_temperature)
    cold = gone_cold(copper)
    leaving = {"anodes": cold.scaled(1.0 - s.reject_rate), "rejects": cold.scaled(s.reject_rate)}
    leaving |= {"slag": slag, "gas": gas, "dust": dust}
    drawn = {"oxidation_air": air, "burner_air": burner_air, "hood_air": hood_air}
    inputs = {"charge": charge} | {name: Entry.of(stream) for name, stream in drawn.items()}
    inputs |= {"reductant": _fuel_entry(unit.fuel, charged), "fuel": _fuel_entry(burner.fuel, fuel)}
    outputs = {name: Entry.of(stream) for name, stream in leaving.items()}
    heat_out = {"loss": loss, "surplus": surplus, "casting": copper.enthalpy() - cold.enthalpy()}
    return AnodeFurnaceResult(
        settings=s,
        copper=copper,
        **leaving,
        **drawn,
        refined=refined,
        reductant=charged,
        unit_reductant=unit.fuel,
        fuel=fuel,
        unit_fuel=burner.fuel,
        surplus=surplus,
        ledger=Ledger(inputs, outputs, heat_out),
        reason=_reasons(charge, refined, unit, surplus),
    )


def _ashes(dust: FloatNS, ash: FloatN, s: AnodeFurnaceSettings) -> Stream:
    """Fume and ash at the temperature of the gas."""
    phase = carriers()["dust"][0]
    is_ash = np.array([float(name == "Rest") for name in phase.names])
    return Stream(phase, dust + column(ash) * is_ash, s.gas_temperature)


def _together(flue: Stream, risen: Stream) -> Stream:
    """Two gases of one temperature as one stream."""
    phase = species(*dict.fromkeys((*BURNT_GAS, *BATH_GAS)))
    return Stream(phase, on_phase(flue, phase) + on_phase(risen, phase), flue.T)


def _fuel_entry(fuel: Fuel, rate: FloatN) -> Entry:
    return Entry(fuel.elements, fuel.enthalpy, fuel.enthalpy).scaled(rate)


def _reasons(charge: Entry, refined: Refined, unit: Reductant, surplus: FloatN) -> IntN:
    """Why a scenario has no answer; the first limit in the list that is broken is named."""
    turned_over = np.abs(charge.enthalpy) + WATT
    broken = {
        Reason.INPUT_NOT_FINITE: ~finite(charge.enthalpy, refined.anode.sum(axis=1))
        | (refined.anode[:, 0] <= 0),
        Reason.ANODE_OXYGEN_OUT_OF_REACH: refined.removed < 0,
        Reason.REDUCTANT_TAKES_NO_OXYGEN: (unit.oxygen <= 0) & (refined.removed > 0),
        Reason.BURNER_CANNOT_HEAT: surplus < -1e-9 * turned_over,
    }
    return np.select(list(broken.values()), [int(why) for why in broken], Reason.SOLVED).astype(np.int64)
