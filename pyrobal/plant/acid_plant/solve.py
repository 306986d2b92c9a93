"""The acid plant: from cleaned gas to acid and tail gas, with the heat and water accounts closed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, IntN
from pyrobal.constants import T_NORMAL, R
from pyrobal.errors import Reason
from pyrobal.plant.acid_plant.acid import Acid, Drying, acid_entry, dry, make_acid
from pyrobal.plant.acid_plant.bed import O2, SO2, SO3
from pyrobal.plant.acid_plant.converter import (
    WATER,
    Autothermal,
    Converter,
    Course,
    autothermal,
    convert,
)
from pyrobal.plant.acid_plant.settings import AcidPlantSettings
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.mixing import on_phase
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import STEADY, TimeSteps
from pyrobal.thermo.acid_solution import M_ACID
from pyrobal.thermo.properties import species
from pyrobal.thermo.water import saturation_temperature


@dataclass(frozen=True, eq=False)
class AcidPlantResult:
    """One acid plant balance per scenario; every array (N,) or (N, S), a mean over the moments of the gas.

    gas : as it comes from the gas train
    blower_power : (N,) [W]
    autothermal : SO2 strength at which no heat from outside is needed
    acid_cooling : (N,) [W] taken from drying, absorption and product acid
    reason : (N,) errors.Reason
    """

    settings: AcidPlantSettings
    site: SiteSettings
    gas: Stream
    drying: Drying
    blower_power: FloatN
    converter: Converter
    autothermal: Autothermal
    acid: Acid
    acid_cooling: FloatN
    ledger: Ledger
    reason: IntN

    @property
    def feed(self) -> Stream:
        """Dried gas on its way to the first bed."""
        return self.converter.feed

    @property
    def tail(self) -> Stream:
        """Gas to the stack; its acid mist is ``acid.mist``."""
        return self.converter.tail

    @property
    def course(self) -> Course:
        """The converter over the moments of the gas."""
        return self.converter.course

    @property
    def inlet_flow(self) -> FloatN:
        """(N,) [mol/s] dry gas to the first bed: the flow a limit is on."""
        return self.feed.total() - self.feed.amount(WATER)

    @property
    def conversion_lowest(self) -> FloatN:
        """(N,) least conversion of any moment with SO2."""
        conversion = self.course.conversion
        lowest: FloatN = np.where(np.isnan(conversion), np.inf, conversion).min(axis=1)
        return lowest

    @property
    def hottest(self) -> FloatN:
        """(N,) [K] hottest gas that leaves a bed at any moment."""
        hottest: FloatN = self.course.outlet.max(axis=(1, 2))
        return hottest

    @property
    def time_weak(self) -> FloatN:
        """(N,) share of the time in which the gas is too weak to heat itself."""
        weak = self.course.feed.so2_share < self.autothermal.strength[:, None]
        return np.where(np.isnan(self.autothermal.strength), np.nan, weak.mean(axis=1))

    @property
    def stack_gas(self) -> Stream:
        """The same with its mist, as ``H2SO4(l)``, at one temperature."""
        tail, mist = self.tail, self.acid.mist
        phase = species(*dict.fromkeys((*tail.phase.names, *mist.phase.names)))
        return Stream(phase, on_phase(tail, phase) + on_phase(mist, phase), tail.T)

    @property
    def blower_suction(self) -> FloatN:
        """(N,) [m3/mol] gas as the blower draws it: dried, at the pressure of the site."""
        return R * self.drying.gas.T / self.site.pressure

    @property
    def conversion(self) -> FloatN:
        """(N,) share of the SO2 oxidised in all beds."""
        overall: FloatN = self.converter.conversion()[:, -1]
        return overall

    @property
    def so2_strength(self) -> FloatN:
        """(N,) [mol/mol] SO2 in the dried gas."""
        return self.feed.amount(SO2) / self.inlet_flow

    @property
    def oxygen_ratio(self) -> FloatN:
        """(N,) [mol/mol] O2 per SO2 in the dried gas."""
        return self.feed.amount(O2) / self.feed.amount(SO2)

    def moisture_limit(self) -> FloatN:
        """(N,) [mol/mol] most water vapour the wet gas may bring at these strengths, of the wet gas.

        Where the gas brings as much, no dilution water is added.
        """
        dry_flow = self.gas.total() - self.gas.amount(WATER)
        room = np.maximum(self.acid.water_room, 0.0)
        return room / (room + dry_flow)

    def saturation_limit(self) -> FloatN:
        """(N,) [K] hottest the gas may come saturated with water: p_sat(T) = y p at the site's pressure.

        nan below 0 degC, where no liquid water is in equilibrium with such a gas.
        """
        pressure = self.moisture_limit() * self.site.pressure
        with np.errstate(all="ignore"):
            T = saturation_temperature(pressure)
        return np.where(T >= T_NORMAL, T, np.nan)


def solve(
    gas: Stream,
    site: SiteSettings,
    s: AcidPlantSettings,
    over: Stream | None = None,
    moments: TimeSteps = STEADY,
) -> AcidPlantResult:
    """Balance the acid plant.

    gas : (N, S) cleaned gas, moist, with SO2, O2 and N2 among its species
    over : (N T, S) the same at every moment of a cycle, its mean being ``gas``; None where it is steady

    The gas is dried, blown through beds and absorbers, and SO3 and water make acid. The beds are solved at
    every moment; acid is one, as the towers mix what a cycle makes. Heat that the exchangers can spare, and
    what the acid coolers take, follow by difference, so the ledger closes.
    References: Davenport & King 2006, Sulfuric Acid Manufacture; King, Davenport & Moats 2013, 2nd ed.
    """
    gas = _over_scenarios(gas, site, s)
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        drying = dry(gas, s)
        feed, power = blow(drying.gas, site, s)
        swings = feed
        if over is not None:
            dried = dry(_at_moments(over, len(gas.n), moments), moments.spread(s))
            swings = Stream(feed.phase, dried.gas.n, moments.spread(feed.T))
        converter = convert(feed, swings, s, moments)
        acid = _acid(drying, converter, s)
        cooling = _acid_cooling(gas, drying, converter, acid)
        return AcidPlantResult(
            settings=s,
            site=site,
            gas=gas,
            drying=drying,
            blower_power=power,
            converter=converter,
            autothermal=autothermal(converter, s),
            acid=acid,
            acid_cooling=cooling,
            ledger=_ledger(gas, power, converter, acid, cooling),
            reason=_reasons(gas, converter, s),
        )


def _over_scenarios(gas: Stream, site: SiteSettings, s: AcidPlantSettings) -> Stream:
    """The gas with one row per scenario, whichever of gas, site and settings varies."""
    arrays = [x for node in (site, s) for x in vars(node).values() if isinstance(x, np.ndarray)]
    count = max(len(x) for x in (gas.n, gas.T, *arrays))
    n, T = np.broadcast_to(gas.n, (count, len(gas.phase))), np.broadcast_to(gas.T, (count,))
    return Stream(gas.phase, n, T)


def _at_moments(over: Stream, count: int, moments: TimeSteps) -> Stream:
    """The gas of every moment, over so many scenarios."""
    T = np.broadcast_to(over.T, (len(over.n),))
    n, T = (np.broadcast_to(x, (count, *x.shape[1:])) for x in (moments.series(over.n), moments.series(T)))
    return Stream(over.phase, n.reshape(-1, n.shape[2]), T.reshape(-1))


def blow(gas: Stream, site: SiteSettings, s: AcidPlantSettings) -> tuple[Stream, FloatN]:
    """Gas after the blower, and the power (N,) [W] it takes up.

    T2 - T1 = T1 ((p2 / p1)^(R / Cp) - 1) / efficiency, from the site's pressure.
    """
    cp = (gas.n * gas.phase.heat_capacity(gas.T)).sum(axis=1) / gas.total()
    rise = gas.T * ((1.0 + s.blower_rise / site.pressure) ** (R / cp) - 1.0) / s.blower_efficiency
    hot = Stream(gas.phase, gas.n, gas.T + rise)
    return hot, hot.enthalpy() - gas.enthalpy()


def _acid(drying: Drying, c: Converter, s: AcidPlantSettings) -> Acid:
    trioxide = drying.trioxide + sum(absorber.taken(SO3) for absorber in c.absorbers)
    water = drying.water + sum(absorber.taken(WATER) for absorber in c.absorbers)
    mist = np.minimum(s.tail_mist / M_ACID * c.tail.total(), trioxide + drying.acid)
    return make_acid(trioxide, water, drying.acid, mist, s)


def _acid_cooling(gas: Stream, drying: Drying, c: Converter, acid: Acid) -> FloatN:
    """(N,) [W] given to the acid by gas and dilution water, less what product and mist carry off."""
    given = gas.enthalpy() - drying.gas.enthalpy() + acid_entry(acid.dilution).enthalpy
    for absorber in c.absorbers:
        given = given + absorber.inlet.enthalpy() - absorber.outlet.enthalpy()
    for out in (*acid.products.values(), acid.mist):
        given = given - acid_entry(out).enthalpy
    return given


def _ledger(gas: Stream, power: FloatN, c: Converter, acid: Acid, cooling: FloatN) -> Ledger:
    inputs = {"gas": Entry.of(gas), "dilution_water": acid_entry(acid.dilution)}
    outputs = {
        "tail_gas": Entry.of(c.tail),
        "tail_mist": acid_entry(acid.mist),
        "acid": acid_entry(acid.products["absorption"]),
        "drying_acid": acid_entry(acid.products["drying"]),
    }
    heat_out = {"blower": -power, "spare": c.surplus(), "loss": c.loss, "acid_cooling": cooling}
    return Ledger(inputs, outputs, heat_out)


def _reasons(gas: Stream, c: Converter, s: AcidPlantSettings) -> IntN:
    reason = np.where(c.course.converged.all(axis=1), Reason.SOLVED, Reason.NOT_CONVERGED)
    reason = np.where(gas.amount(SO2) > 0, reason, Reason.NO_SULFUR_DIOXIDE)
    return np.where(_finite(gas, s), reason, Reason.INPUT_NOT_FINITE).astype(np.int64)


def _finite(gas: Stream, s: AcidPlantSettings) -> BoolN:
    finite: BoolN = np.isfinite(gas.n).all(axis=1) & np.isfinite(gas.T)
    for value in vars(s).values():
        if isinstance(value, np.ndarray):
            finite = finite & np.isfinite(value)
    return finite
