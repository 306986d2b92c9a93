"""The schedule of one cycle: ladles, blows and pauses in turn, and what each blow is like."""

from __future__ import annotations

import functools
import operator
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNS, Floats, column, total, zeros
from pyrobal.plant.converting.blast import Blast
from pyrobal.plant.converting.blow import (
    copper_making,
    feeding,
    flux_wanted,
    fluxing,
    iron_that_meets,
    settling,
    slag_making,
)
from pyrobal.plant.converting.deportment import FE, OXYGEN, SULFUR, phases, settle, settle_charged
from pyrobal.plant.converting.melts import Slag, given_copper, oxidic_copper_beside_matte
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.plant.converting.sums import BLOWN, IRON, MELT, SILICA, parts, sums
from pyrobal.plant.converting.time_step import Bath, Moment, blowing, charging, empty, pouring, skimming
from pyrobal.plant.converting.vessel import Addition, Blow, Vessel, ladles
from pyrobal.streams.ledger import Entry
from pyrobal.trace.solved import tabulated

# Steps of a slag blow and of the copper blow; the temperature is within a degree of that with many more.
STEPS = (12, 24)
ROUGH = (4, 6)  # where the recycles are only begun
SILICATE_MAGNETITE = 0.20  # common practice in fayalite slag of converters


@dataclass(frozen=True, eq=False)
class Batch:
    """What one vessel is given in one cycle.

    matte : elements and enthalpy of all ladles, as charged
    reverts, copper_reverts : of all that goes in cold with them, in the slag blows and in the copper blow
    slag_blast, copper_blast : of the two kinds of blow
    slag_coolant, copper_coolant : cold matte and cold copper, which hold the temperature in them
    steps : of each slag blow, and of the copper blow
    """

    vessel: Vessel
    matte: Entry
    reverts: Entry
    copper_reverts: Entry
    slag_blast: Blast
    copper_blast: Blast
    slag_coolant: Addition
    copper_coolant: Addition
    steps: tuple[int, int]


@dataclass(frozen=True, eq=False)
class Cut:
    """One slag blow with the charging before it, (N,) each.

    share : [-] of the matte of the cycle; real : [-] 0 to 1, whether the scenario has this blow
    last : True where white metal is made; time : [s] in blast, nan where the iron ends it
    """

    number: int
    share: FloatN
    real: FloatN
    last: BoolN
    time: FloatN


def matte_in_cycle(s: ConvertingSettings) -> FloatN:
    """(N,) [kg] matte charged in one cycle."""
    return s.ladle_mass * (s.first_ladles + s.later_ladles * (s.slag_blows - 1.0))


def cuts(s: ConvertingSettings) -> list[Cut]:
    """The slag blows of a cycle; scenarios with fewer of them have empty ones at the end."""
    whole = s.first_ladles + s.later_ladles * (s.slag_blows - 1.0)
    result = []
    for k in range(int(np.ceil(s.slag_blows.real[np.isfinite(s.slag_blows)].max()))):
        real = np.clip(s.slag_blows - k, 0.0, 1.0)
        ladles = s.first_ladles if k == 0 else s.later_ladles * real
        last = s.slag_blows - 1.0 <= k
        time = np.array([np.nan])
        if s.charging_interval is not None:
            time = np.where(last, np.nan, s.charging_interval - s.charging_time - s.skimming_time)
        result.append(Cut(k, ladles / whole, real, last, time))
    return result


def slag_assay(s: ConvertingSettings, iron: FloatN) -> Slag:
    """The slag skimmed from matte with ``iron`` (N,) [kg/kg]."""
    magnetite = (
        s.slag_magnetite
        if s.slag_magnetite is not None
        else tabulated(
            np.array([SILICATE_MAGNETITE]), "magnetite in fayalite slag", "-", (), "common practice"
        )
    )
    if s.slag_copper is not None:
        return Slag(magnetite, *given_copper(s.slag_copper, s.slag_entrained_copper))
    oxidic = oxidic_copper_beside_matte(iron, s.fe_sio2, magnetite, s.bath_temperature)
    return Slag(magnetite, oxidic, s.slag_entrained_copper)


@dataclass(frozen=True, eq=False)
class Stage:
    """A stretch of the cycle.

    moments : in turn; changes : (N, W) of what their extents are extents of
    added : (N, S) [mol] on the bath axis that was added, ladles and cold charge
    """

    moments: list[Moment]
    changes: list[Floats]
    added: FloatNS

    @property
    def end(self) -> Bath:
        """The bath it leaves."""
        return self.moments[-1].bath

    @functools.cached_property
    def total(self) -> Floats:
        """(N, W) all that it changes, what was added not counted."""
        return summed(total(moment.extents for moment in self.moments).T, self.changes)


def summed(extents: Floats, changes: Sequence[Floats]) -> Floats:
    """The sum of so many (N, K) of each change (N, W)."""
    return functools.reduce(operator.add, (column(x) * c for x, c in zip(extents.T, changes, strict=True)))


def march(c: Batch, n: int) -> list[Stage]:
    """One cycle of n scenarios side by side, stage by stage.

    Steps are equal parts of the iron to be slagged, or of the white metal to be blown, so every blow ends
    exactly at its end point and scenarios need not share a clock.
    """
    v, s, bath = c.vessel, c.vessel.s, empty(n)
    matte, nothing = matte_in_cycle(s), np.zeros((1, len(phases()["bath"])))
    whole, stages, known = ladles(c.matte, v.rule), [], {}
    for cut in cuts(s):
        label, there, end = f"{cut.number + 1}", cut.real > 0, cut.last.tobytes()
        if end not in known:  # blows that end alike make the same slag
            known[end] = _slag_blow_changes(c, cut, whole)
        charged = charging(v, bath, whole, cut.share, s.charging_time * there, f"charging {label}")
        blow = _slag_blow(c, charged.bath, cut, *known[end])
        skimmed = skimming(v, blow.end, s.skimming_time * there, f"skimming {label}")
        added = column(cut.share) * whole.melt
        stages += [Stage([charged], [], added), blow, Stage([skimmed], [], nothing)]
        matte = matte + total(moment.cold for moment in blow.moments)
        bath = skimmed.bath
    changed = [stage.total[:, parts()["bath"]] for stage in stages if stage.changes]
    white = functools.reduce(operator.add, (*changed, *(stage.added for stage in stages)))
    blow = _copper_blow(c, bath, matte / matte_in_cycle(s), white)
    return [*stages, blow, Stage([pouring(v, blow.end)], [], nothing)]


def _target(s: ConvertingSettings, cut: Cut) -> FloatN:
    """(N,) [kg/kg] iron in the matte at the end of a slag blow."""
    return np.where(cut.last, s.white_metal_iron, s.cut_iron)


def _slag_blow_changes(c: Batch, cut: Cut, whole: Addition) -> tuple[Blow, list[Floats]]:
    """Feed and matte of a whole cycle, a kilogram of cold matte, a mole of iron, a kilogram of flux.

    Feed is the reverts, and what leaves of the matte just charged; both come evenly over the blow.
    """
    s, v, none = c.vessel.s, c.vessel, np.zeros(1)
    assay, efficiency = slag_assay(s, _target(s, cut)), s.slag_blow_oxygen_efficiency
    blow = Blow(False, assay, c.slag_blast, s.slag_blow_blast, efficiency, none, none)
    leaving = settle_charged(c.matte.elements, v.to)
    feed = feeding(v, blow, settle(c.reverts.elements, v.to).plus(leaving, np.ones(1)), c.reverts.enthalpy)
    cold, matte = settling(v, blow, c.slag_coolant), settling(v, blow, whole)
    return blow, [feed, cold, matte, slag_making(v, blow), fluxing(v, blow)]


def _slag_blow(c: Batch, bath: Bath, cut: Cut, blow: Blow, changes: list[Floats]) -> Stage:
    """Each step a sum of feed, cold matte of the step before, ladles (in the first), iron and flux."""
    v, target, steps = c.vessel, _target(c.vessel.s, cut), c.steps[0]
    of = sums(changes, len(bath.T))
    feed_, cold_, matte_, iron_, flux_ = range(len(changes))
    silica, blown = of[SILICA], of[BLOWN]
    excess = of[IRON] - target * of[MELT]  # kg of iron beyond the target
    none, one = np.zeros_like(bath.T), np.ones_like(bath.T)
    per_silica, per_iron = flux_wanted(v, none, one), flux_wanted(v, one, none)  # kg of flux
    timed, due = ~np.isnan(cut.time), cut.time / steps * blow.rate
    any_timed = timed.any()
    feed, matte, cold, replaced, moments = cut.share / steps * one, cut.share * one, none, none, []
    fed = [feed * row[feed_] for row in (silica, excess, blown)]
    for left in range(steps, 0, -1):
        flux = per_silica * (fed[0] + cold * silica[cold_])
        level = bath.sums[IRON] - target * bath.sums[MELT] + left * (fed[1] + cold * excess[cold_])
        iron = iron_that_meets(level, excess[iron_], excess[flux_], left * flux, per_iron)
        iron = np.maximum(iron, 0.0)
        if left > 1:
            iron = np.minimum(iron, iron / left / (1.0 - replaced))
        if any_timed:
            level = fed[2] + cold * blown[cold_] + matte * blown[matte_] - due
            iron = np.where(timed, iron_that_meets(level, blown[iron_], blown[flux_], flux, per_iron), iron)
        extents = np.stack([feed, cold, matte, iron, np.maximum(flux + per_iron * iron, 0.0)])
        coolant = c.slag_coolant if v.hold and left > 1 else None
        moment = blowing(v, f"slag blow {cut.number + 1}", blow.rate, bath, of, extents, coolant)
        moments.append(moment)
        bath, cold, matte = moment.bath, moment.cold, none
        replaced = _replaced(cold * c.slag_coolant.metals[:, FE], iron)
    return _cooled_stage(moments, changes, c.slag_coolant)


def _cooled_stage(moments: list[Moment], changes: list[Floats], coolant: Addition) -> Stage:
    cold = total(moment.cold for moment in moments)
    return Stage(moments, changes, column(cold) * coolant.melt)


def _replaced(brought: FloatN, iron: FloatN) -> FloatN:
    """Share (N,) of the iron a step slagged that its cold matte brought back."""
    share = np.divide(brought, iron, out=zeros(iron.shape, brought, iron), where=iron > 0)
    return np.minimum(np.maximum(share, 0.0), 0.8)


def _copper_blow(c: Batch, bath: Bath, more: FloatN, melt: FloatNS) -> Stage:
    """Each step turns an equal part of the white metal, a ``melt`` (N, S) [mol] at the start, into copper.

    more : (N,) [-] all matte of the cycle over that of its ladles; its reverts come with all of it
    """
    s, v, start, steps = c.vessel.s, c.vessel, bath.sums[MELT], c.steps[1]
    blow = Blow(
        True, slag_assay(s, s.white_metal_iron), c.copper_blast, s.copper_blow_blast,
        s.copper_blow_oxygen_efficiency, s.blister_sulfur, s.blister_oxygen,
    )  # fmt: skip
    reverts = c.copper_reverts.scaled(more / steps)
    fed, heat = settle(reverts.elements, v.to), reverts.enthalpy
    white = melt @ phases()["bath"].composition / steps
    white[:, [SULFUR, OXYGEN]] = 0.0
    flux = np.maximum(flux_wanted(v, white[:, FE] + fed.bath[:, FE], fed.silica), 0.0)
    step = copper_making(v, blow, white, fed, heat) + column(flux) * fluxing(v, blow)
    changes = [step, settling(v, blow, c.copper_coolant)]
    of = sums(changes, len(bath.T))
    cold, moments = np.zeros_like(bath.T), []
    for left in range(steps - 1, -1, -1):
        coolant = c.copper_coolant if v.hold and left > 0 else None
        extents = np.stack([np.ones_like(cold), cold])
        moment = blowing(v, "copper blow", blow.rate, bath, of, extents, coolant)
        moments.append(moment._replace(matte=start * (left / steps)))
        bath, cold = moment.bath, moment.cold
    return _cooled_stage(moments, changes, c.copper_coolant)
