"""The electric furnace: its bath solved, its heat closed with power, its gas burnt above the slag."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pyrobal.arrays import BoolN, FloatNE, IntN, column
from pyrobal.errors import Reason
from pyrobal.numerics.newton import Roots
from pyrobal.plant.slag_cleaning.melt import Bath, Melt, bath, converge, entrained_copper, melt
from pyrobal.plant.slag_cleaning.phases import carriers
from pyrobal.plant.slag_cleaning.result import SlagCleaningResult
from pyrobal.plant.slag_cleaning.settings import SlagCleaningSettings
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.hood import burn, combustion_air
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.reductant import bath_gas, reductant
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream


def clean(
    slags: Mapping[str, Stream],
    fed: FloatNE,
    site: SiteSettings,
    s: SlagCleaningSettings,
    fuel: Fuel,
    near: Roots | None = None,
) -> SlagCleaningResult:
    """Reduce, settle and tap; ``near`` is the ``root`` of a balance close by, to seek from.

    slags : name -> Stream as it arrives, cold where it was let go cold; fed : (N, E) [mol/s] of all
    Bath heat: slags + reductant + power = cleaned slag + matte + gas and dust at slag temperature + loss.
    The gas burns with the air drawn in over the bath; that heat leaves with it, none is credited to the bath.
    """
    b = bath(fed, s, reductant(fuel, s.reductant_efficiency, s.reductant_to_co))
    roots = converge(b, near)
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        m = melt(b, b.unknowns(roots.z))
        reason = _reasons(b, m, roots.converged)
        return _tapped(slags, b, m, site, reason, roots)


def _tapped(
    slags: Mapping[str, Stream], b: Bath, m: Melt, site: SiteSettings, reason: IntN, root: Roots
) -> SlagCleaningResult:
    s, axes = b.s, carriers()
    slag = Stream(axes["slag"][0], m.slag, s.slag_temperature)
    matte = Stream(axes["matte"][0], m.matte, s.matte_temperature)
    fume = Stream(axes["dust"][0], m.dust, s.slag_temperature)
    risen = Stream(bath_gas(), column(m.reductant) * b.reductant.gas, s.slag_temperature)
    air = combustion_air(risen, s.hood_air, site)
    gas, dust = burn(risen, air, fume)
    fuel = b.reductant.fuel
    loss = s.heat_loss if s.heat_loss is not None else s.heat_loss_per_tonne * b.fed_mass
    given = m.reductant * fuel.enthalpy
    needed = loss - given
    for stream in (slag, matte, fume, risen):
        needed = needed + stream.enthalpy()
    for stream in slags.values():
        needed = needed - stream.enthalpy()
    power, surplus = np.maximum(needed, 0.0), np.maximum(-needed, 0.0)
    inputs = {name: Entry.of(stream) for name, stream in slags.items()}
    inputs["reductant"] = Entry(fuel.elements, fuel.enthalpy, fuel.enthalpy).scaled(m.reductant)
    inputs["air"] = Entry.of(air)
    outputs = {n: Entry.of(x) for n, x in (("slag", slag), ("matte", matte), ("gas", gas), ("dust", dust))}
    ledger = Ledger(inputs, outputs, {"loss": loss, "surplus": surplus, "power": -power})
    return SlagCleaningResult(
        settings=s,
        fed=b.fed_mass,
        fed_copper=b.element("Cu"),
        slag=slag,
        matte=matte,
        gas=gas,
        dust=dust,
        air=air,
        reductant=m.reductant,
        unit_reductant=fuel,
        suspended=entrained_copper(s),
        power=power / s.electrical_efficiency,
        surplus=surplus,
        ledger=ledger,
        reason=reason,
        root=root,
    )


def _reasons(b: Bath, m: Melt, converged: BoolN) -> IntN:
    """Why a scenario has no answer; the first limit in the list that is broken is named."""
    broken = {
        Reason.INPUT_NOT_FINITE: ~np.isfinite(b.fed).all(axis=1) | (b.fed_mass <= 0),
        Reason.REDUCTANT_TAKES_NO_OXYGEN: b.reductant.oxygen <= 0,
        Reason.SLAG_ALREADY_CLEAN: (m.left <= 0) | (m.suspended >= 1) | (m.magnetite < 0),
        Reason.SLAG_SHORT_OF_SULFUR: m.sulfur <= 0,
        Reason.NOT_CONVERGED: ~converged,
    }
    return np.select(list(broken.values()), [int(why) for why in broken], Reason.SOLVED).astype(np.int64)
