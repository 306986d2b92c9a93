"""Batch converting: one cycle, marched and added up, and the vessels that share the matte."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, column
from pyrobal.plant.converting import schedule
from pyrobal.plant.converting.blast import blast, enrichment_for, uptake
from pyrobal.plant.converting.cycle import Course, Totals, add_up
from pyrobal.plant.converting.deportment import grade_of, phases, settle, shares
from pyrobal.plant.converting.feed import Charge, wet
from pyrobal.plant.converting.heat import curve, temperature
from pyrobal.plant.converting.limits import batch_reasons
from pyrobal.plant.converting.melts import Matte
from pyrobal.plant.converting.result import ConvertingResult, Cycle, hooded
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.plant.converting.vessel import Flux, Vessel, cold_copper, cold_matte
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.site import SiteSettings, air_species
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS

_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Run:
    """A cycle that has been marched, with what is needed to make rates of it.

    given : what the vessel was given; per_second : (N,) [1/s] cycles begun
    cold_matte, cold_copper : (N,) [kg] in a cycle
    """

    given: schedule.Batch
    course: Course
    totals: Totals
    per_second: FloatN
    cold_matte: FloatN
    cold_copper: FloatN


def solve_batch(c: Charge, site: SiteSettings, s: ConvertingSettings, rough: bool) -> ConvertingResult:
    """March one cycle of every scenario, then turn it into the means that use all the matte.

    Without a coolant the march is repeated with one, only to read what it would take; not where it is rough.
    """
    run = run_cycle(c, site, s, hold=s.close_heat_with == "cold_charge", rough=rough)
    full = run if rough or run.given.vessel.hold else run_cycle(c, site, s, hold=True)
    return _assemble(c, site, run, full)


def run_cycle(c: Charge, site: SiteSettings, s: ConvertingSettings, hold: bool, rough: bool = False) -> Run:
    """March the cycle of every scenario; ``hold`` where cold charge keeps the temperature."""
    ladles = c.ladles(s.matte_temperature_drop)
    share = schedule.matte_in_cycle(s) / c.matte.mass()  # [s] of matte production in one cycle
    matte, reverts = ladles.scaled(share), c.slag_blow.scaled(share)
    rule, to = Matte.of(matte.elements), shares(grade_of(matte.elements), s)
    flux = None
    if c.silica is not None:
        flux = Flux(settle(c.silica.entry.elements, to), c.silica.entry.elements, c.silica.entry.enthalpy)
    vessel = Vessel(s, to, rule, flux, hold)
    given = schedule.Batch(
        vessel, matte, reverts, c.copper_blow.scaled(share),
        blast(site, s, s.slag_blow_enrichment), blast(site, s, s.copper_blow_enrichment),
        cold_matte(matte, reverts, schedule.matte_in_cycle(s), rule, to), cold_copper(s),
        schedule.ROUGH if rough else schedule.STEPS,
    )  # fmt: skip
    course, totals = add_up(schedule.march(given, c.scenarios(site, s)))
    matte_cold, copper_cold = course.cold_in("slag blow"), course.cold_in("copper blow")
    per_second = c.matte.mass() / (schedule.matte_in_cycle(s) + matte_cold)
    return Run(given, course, totals, per_second, matte_cold, copper_cold)


def _assemble(c: Charge, site: SiteSettings, run: Run, full: Run) -> ConvertingResult:
    s, t, rate = run.given.vessel.s, run.totals, run.per_second
    blister, slag, mouth = _blister(run), _slag(t, rate), _mouth(t, rate)
    dust = Stream(phases()["dust"], t.dust * column(rate), s.bath_temperature)
    hood_air, gas = hooded(mouth, s.hood_air, site)
    blown = [(run.given.slag_blast, t.slag_blown * rate), (run.given.copper_blast, t.copper_blown * rate)]
    blown_n = sum((column(n) * b.n for b, n in blown), np.zeros((1, 1)))
    air = sum((n * b.air for b, n in blown), np.zeros(1))
    wind = Stream(air_species(), blown_n, s.blast_temperature)
    cycle = _cycle(run, c.matte.mass() / rate, gas.total() / mouth.total(), blister.mass() / rate)
    at_once = Stream(phases()["gas"], t.peak_gas * column(cycle.blowing), t.peak_gas_T)
    _, peak = hooded(at_once, s.hood_air, site)
    ledger = _ledger(c, run, {"blister": blister, "slag": slag, "gas": gas, "dust": dust}, wind, hood_air)
    reacted = wind.amount("O2(g)") - mouth.amount("O2(g)")
    nothing = np.zeros_like(rate)
    capacity = _capacity(full)
    return ConvertingResult(
        s, c.matte, blister, slag, dust, mouth, gas, peak, wind, hood_air, air,
        t.slag_blown * rate + t.copper_blown * rate - air, reacted, wet(c.silica, t.flux * rate), nothing,
        run.cold_matte * rate, run.cold_copper * rate, full.cold_matte * full.per_second,
        capacity * full.per_second, c.copper_blow.elements @ ATOMIC_MASS, _closing(full, capacity, site),
        nothing, np.full_like(rate, np.nan), ledger, cycle,
        batch_reasons(c, s, run.course, cycle, t.backwards, run.cold_copper * rate, blister, slag),
    )  # fmt: skip


def _capacity(run: Run) -> FloatN:
    """Cold copper (N,) [kg] of a cycle that holds the temperature in it, less what would have to stay out
    where the copper blow ends colder.

    A colder bath gives colder gas, so of the heat q [J] that cold charge takes up during the blow only a part
    is missing at its end: C dT/dx = -q - G dT, with x from 0 to 1, C [J/K] of the bath and G [J/K] of the gas
    that leaves, ends with C dT = -q (1 - exp(-g)) / g, g = G / C.
    """
    T, end = run.given.vessel.s.bath_temperature, run.totals.end
    short = np.maximum(end.content.enthalpy(T) - end.H, 0.0)
    g = curve("gas", run.totals.copper_gas).heat_capacity(T) / end.content.heat_capacity(T)
    return run.cold_copper - short * g / (1.0 - np.exp(-g)) / run.given.copper_coolant.uptake(T)


def _closing(run: Run, capacity: FloatN, site: SiteSettings) -> FloatN:
    """Enrichment (N,) at which the copper blow takes up that heat with its blast and its vessel instead."""
    s, given = run.given.vessel.s, run.given
    lost = s.heat_loss / s.copper_blow_blast
    heat = run.totals.copper_blown * (uptake(s, given.copper_blast) + lost)
    heat = heat + capacity * given.copper_coolant.uptake(s.bath_temperature)
    return enrichment_for(site, s, heat / (run.totals.copper_blown * given.copper_blast.oxygen), lost)


def _blister(run: Run) -> Stream:
    """Copper poured, less what of it is put back cold."""
    axis, n = phases()["blister"], run.totals.melt
    if run.given.vessel.s.copper_coolant == "own_copper":
        n = n - column(run.cold_copper) * run.given.copper_coolant.melt
    n = n[:, [phases()["bath"].index(name) for name in axis.names]]
    return Stream(axis, n * column(run.per_second), run.totals.end.T)


def _slag(t: Totals, rate: FloatN) -> Stream:
    """All that is skimmed and the slag of the copper blow, at the temperature of their mixture."""
    T = temperature(curve("slag", t.slag), t.slag_heat, t.end.T)
    return Stream(phases()["slag"], t.slag * column(rate), T)


def _mouth(t: Totals, rate: FloatN) -> Stream:
    T = temperature(curve("gas", t.gas), t.gas_heat, t.end.T)
    return Stream(phases()["gas"], t.gas * column(rate), T)


def _cycle(run: Run, matte: FloatN, hood: FloatN, blister: FloatN) -> Cycle:
    s, course = run.given.vessel.s, run.course
    time = course.end[:, -1] if s.cycle_time is None else s.cycle_time + 0.0 * course.end[:, -1]
    blow = course.time_in("slag blow") + course.time_in("copper blow")
    return Cycle(
        course, matte, blister, run.per_second, time, run.per_second * time,
        np.ceil((run.per_second * blow).real - _ROUNDING), hood,
    )  # fmt: skip


def _ledger(c: Charge, run: Run, out: dict[str, Stream], wind: Stream, hood_air: Stream) -> Ledger:
    """Means of the cycle. Matte enters as received; what ladles, freezing and own copper lose is heat out."""
    s, t, rate = run.given.vessel.s, run.totals, run.per_second
    cold = run.cold_matte * rate / c.matte.mass()  # share of the matte that has frozen
    hot, ladles = Entry.of(c.matte), c.ladles(s.matte_temperature_drop)
    inputs = {"matte": hot, "reverts": c.reverts}
    if c.silica is not None:
        inputs["silica_flux"] = c.silica.entry.scaled(t.flux * rate)
    inputs |= {"blast": Entry.of(wind), "hood_air": Entry.of(hood_air)}
    heat_out = {
        "ladles": (hot.enthalpy - ladles.enthalpy) * (1.0 - cold),
        "frozen_matte": hot.sensible * cold,
        "loss": t.loss * rate,
    }
    coolant, copper = run.given.copper_coolant, run.cold_copper * rate
    if s.copper_coolant == "own_copper":
        heat_out["own_copper"] = copper * coolant.uptake(t.end.T)
    else:
        inputs["copper_scrap"] = coolant.entry(copper)
    return Ledger(inputs, {name: Entry.of(stream) for name, stream in out.items()}, heat_out)
