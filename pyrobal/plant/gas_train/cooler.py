"""The cooler of a hot line: waste-heat boiler, spray cooler or bare duct, and what reacts on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import BoolN, FloatN, IntN
from pyrobal.constants import KELVIN
from pyrobal.errors import Reason
from pyrobal.plant.gas_train.offgas import Offgas, Piece, air, check, first_reason, parted, settle, unsettled
from pyrobal.plant.gas_train.reactions import ARSENIC, CONDENSING, TRIOXIDE, complete, oxygen
from pyrobal.plant.gas_train.settings import GasLineSettings
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.site import OXYGEN_IN_AIR, SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.streams.sulfation import SULFATION
from pyrobal.thermo.properties import species
from pyrobal.thermo.water import liquid_enthalpy, saturation_temperature, steam_enthalpy

_TRACE = -1e-12  # of the whole gas: what rounding may leave of a gas that is used up
_UNFROZEN = 278.15 * KELVIN  # spray water on a cold day


@dataclass(frozen=True, eq=False)
class Cooler(Piece):
    """What a cooler has done, (N,) each.

    heat : [W] taken from gas and dust, walls included
    steam : [kg/s]; spray : [mol/s] water evaporated; sulfation_air : [mol/s] dry
    wall : [K] metal of the boiler, boiling water behind it; None without a boiler
    """

    heat: FloatN
    steam: FloatN
    spray: FloatN
    sulfation_air: FloatN
    wall: FloatN | None


def cooler(inlet: Offgas, s: GasLineSettings, site: SiteSettings) -> Cooler:
    """Cool the gas; on the way vapours condense, dust turns to sulfate, some SO2 to SO3, and dust drops out.

    Air leaks in and is blown in for the sulfate. SO3 is not hydrated to H2SO4 vapour here, which leaves out
    about 1 % of the duty at 0.3 % SO3.
    """
    gas, leak, blown = reacted(inlet, s, site)
    cool = {"boiler": _raise_steam, "water_spray": _evaporate, "none": _leave_alone}[s.cooling]
    done = cool(gas, inlet.enthalpy() + leak.enthalpy() + blown.enthalpy(), s, site)
    caught, rest = parted(done.gas.carried, s.cooler_catch)
    outlet = Offgas(done.gas.gas, rest)
    inputs = {
        "leak": Entry.of(leak),
        "sulfation_air": Entry.of(blown),
        "spray": Entry.of(_spray_water(done.spray, site)),
    }
    ledger = Ledger({**inlet.entries, **inputs}, {**outlet.entries, "dust": Entry.of(caught)}, done.heat_out)
    reason = first_reason(_short(gas, inlet), done.reason)
    sulfation_air = blown.amount("O2(g)") / OXYGEN_IN_AIR
    return Cooler(
        outlet, ledger, caught, reason, done.heat, done.steam, done.spray, sulfation_air, done.wall
    )  # fmt: skip


def reacted(inlet: Offgas, s: GasLineSettings, site: SiteSettings) -> tuple[Offgas, Stream, Stream]:
    """The off-gas after all reactions, not yet cooled; the air leaked in, and blown in for the sulfate."""
    leak = air(s.cooler_leak * inlet.gas.total(), site)
    gas = complete(inlet.with_air(leak), CONDENSING, np.ones(1))
    gas = complete(gas, (ARSENIC,), s.arsenic_to_dust)
    blown = air(s.sulfation_air * s.sulfation * oxygen(gas, SULFATION) / OXYGEN_IN_AIR, site)
    gas = complete(gas.with_air(blown), SULFATION, s.sulfation)
    return complete(gas, (TRIOXIDE,), s.so3_share), leak, blown


class _Cooled(NamedTuple):
    """Gas as cooled, and how: fields as in ``Cooler``; heat_out as in a ledger."""

    gas: Offgas
    heat: FloatN
    heat_out: Mapping[str, FloatN]
    reason: IntN
    steam: FloatN
    spray: FloatN
    wall: FloatN | None = None


def _raise_steam(gas: Offgas, enthalpy: FloatN, s: GasLineSettings, site: SiteSettings) -> _Cooled:
    """heat = H(in) - H(out, at the exit temperature); steam = (1 - loss) heat / (h_steam - h_feedwater)."""
    cold = gas.at(s.cooler_temperature)
    heat = enthalpy - cold.enthalpy()
    to_steam = (1.0 - s.cooler_loss) * heat
    boiling = saturation_temperature(s.steam_pressure)
    T = boiling if s.steam_temperature is None else s.steam_temperature
    feedwater = liquid_enthalpy(s.feedwater_temperature, s.steam_pressure)
    steam = to_steam / (steam_enthalpy(T, s.steam_pressure) - feedwater)
    reason = check(
        (heat < 0.0, Reason.GAS_COLDER_THAN_COOLER),
        ((s.feedwater_temperature > boiling) | (boiling > T), Reason.STEAM_IMPOSSIBLE),
    )
    heat_out = {"loss": s.cooler_loss * heat, "steam": to_steam}
    return _Cooled(cold, heat, heat_out, reason, steam, np.zeros_like(heat), boiling)


def _evaporate(gas: Offgas, enthalpy: FloatN, s: GasLineSettings, site: SiteSettings) -> _Cooled:
    """The same heat taken by water sprayed in: spray = (1 - loss) heat / (h_vapour - h_water)."""
    cold = gas.at(s.cooler_temperature)
    heat = enthalpy - cold.enthalpy()
    vapour = species("H2O(g)")
    per_mole = vapour.enthalpy(cold.T)[:, 0] - _spray_water(np.ones(1), site).enthalpy()
    spray = (1.0 - s.cooler_loss) * heat / per_mole
    wet = cold.with_air(Stream(vapour, spray[:, None], cold.T))
    reason = check((heat < 0.0, Reason.GAS_COLDER_THAN_COOLER))
    return _Cooled(wet, heat, {"loss": s.cooler_loss * heat}, reason, np.zeros_like(heat), spray)


def _leave_alone(gas: Offgas, enthalpy: FloatN, s: GasLineSettings, site: SiteSettings) -> _Cooled:
    """No cooling but by the air that leaks in."""
    settled, left = settle(gas, enthalpy)
    none = np.zeros_like(left)
    return _Cooled(settled, none, {"part_molten": left}, unsettled(settled), none, none)


def _spray_water(flow: FloatN, site: SiteSettings) -> Stream:
    """Liquid water, as warm as the ambient air but not frozen."""
    return Stream(species("H2O(l)"), flow[:, None], np.maximum(site.air_temperature, _UNFROZEN))


def _short(gas: Offgas, inlet: Offgas) -> IntN:
    """Whether the reactions took more than the gas held."""

    def used_up(name: str) -> BoolN:
        short: BoolN = gas.gas.amount(name) < _TRACE * inlet.gas.total()
        return short

    return check((used_up("O2(g)"), Reason.GAS_OXYGEN_SHORT), (used_up("SO2(g)"), Reason.GAS_SO2_SHORT))
