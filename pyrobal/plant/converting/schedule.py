"""The schedule of one cycle: ladles, blows and pauses in turn, and what each blow is like."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNE, column, zeros
from pyrobal.plant.converting.blast import Blast
from pyrobal.plant.converting.blow import copper_making, iron_in_time, iron_to_end, slag_making
from pyrobal.plant.converting.deportment import FE, Settled, settle, settle_charged
from pyrobal.plant.converting.melts import Slag, given_copper, oxidic_copper_beside_matte
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.plant.converting.time_step import TimeStep, blowing, charging, quiet, skimming
from pyrobal.plant.converting.vessel import Bath, Blow, Coolant, Vessel, empty
from pyrobal.streams.ledger import Entry

SLAG_STEPS, COPPER_STEPS = 12, 24  # the temperature is then within a degree of that with many more
SILICATE_MAGNETITE = 0.20  # common practice in fayalite slag of converters


@dataclass(frozen=True, eq=False)
class Batch:
    """What one vessel is given in one cycle.

    matte : elements and enthalpy of all ladles, as charged
    reverts, copper_reverts : of all that goes in cold with them, in the slag blows and in the copper blow
    slag_blast, copper_blast : of the two kinds of blow
    slag_coolant, copper_coolant : cold matte and cold copper, which hold the temperature in them
    """

    vessel: Vessel
    matte: Entry
    reverts: Entry
    copper_reverts: Entry
    slag_blast: Blast
    copper_blast: Blast
    slag_coolant: Coolant
    copper_coolant: Coolant


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
    for k in range(int(np.ceil(np.nanmax(s.slag_blows.real)))):
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
    magnetite = s.slag_magnetite if s.slag_magnetite is not None else np.array([SILICATE_MAGNETITE])
    if s.slag_copper is not None:
        return Slag(magnetite, *given_copper(s.slag_copper, s.slag_entrained_copper))
    oxidic = oxidic_copper_beside_matte(iron, s.fe_sio2, magnetite, s.bath_temperature)
    return Slag(magnetite, oxidic, s.slag_entrained_copper)


def march(c: Batch, n: int) -> Iterator[TimeStep]:
    """One cycle of n scenarios side by side, moment by moment.

    Steps are equal parts of the iron to be slagged, or of the white metal to be blown, so every blow ends
    exactly at its end point and scenarios need not share a clock.
    """
    v, s, bath = c.vessel, c.vessel.s, empty(n)
    matte = matte_in_cycle(s)
    for cut in cuts(s):
        label, there = f"{cut.number + 1}", cut.real > 0
        charged = charging(v, bath, c.matte.scaled(cut.share), s.charging_time * there, f"charging {label}")
        yield charged
        blown, cold = yield from _slag_blow(c, charged.bath, cut)
        matte = matte + cold
        skimmed = skimming(v, blown, s.skimming_time * there, f"skimming {label}")
        yield skimmed
        bath = skimmed.bath
    bath = yield from _copper_blow(c, bath, matte / matte_in_cycle(s))
    yield quiet("pouring", s.pouring_time, bath, np.zeros(1))


def _slag_blow(c: Batch, bath: Bath, cut: Cut) -> Generator[TimeStep, None, tuple[Bath, FloatN]]:
    """The bath after it, and the cold matte (N,) [kg] it took."""
    s, v, none = c.vessel.s, c.vessel, np.zeros(1)
    target = np.where(cut.last, s.white_metal_iron, s.cut_iron)
    feed, elements, enthalpy = _feed(c, cut)
    blow = Blow(
        label=f"slag blow {cut.number + 1}", steps=SLAG_STEPS, slag=slag_assay(s, target),
        feed=feed, feed_elements=elements, feed_enthalpy=enthalpy,
        blast=c.slag_blast, rate=s.slag_blow_blast, efficiency=s.slag_blow_oxygen_efficiency,
        sulfur=none, oxygen=none, coolant=c.slag_coolant,
    )  # fmt: skip
    cold = replaced = taken = np.zeros_like(bath.T)
    for left in range(blow.steps, 0, -1):
        now = blow.after_cooling(cold)
        iron = _iron(v, now, bath, cut, target, left, replaced)
        moment = blowing(v, now, bath, slag_making(v, now, bath, iron), last=left == 1)
        yield moment
        bath, cold, taken = moment.bath, moment.cold, taken + moment.cold
        replaced = _replaced(cold * blow.coolant.white[:, FE], iron)
    return bath, taken


def _iron(v: Vessel, blow: Blow, bath: Bath, cut: Cut, target: FloatN, left: int, replaced: FloatN) -> FloatN:
    """Iron (N,) [mol] of the next step: an equal part of what is to go and of what cold matte will bring."""
    iron = iron_to_end(v, blow, bath, left, target)
    if left > 1:
        iron = np.minimum(iron, iron / left / (1.0 - replaced))
    if np.isnan(cut.time).all():
        return iron
    return np.where(np.isnan(cut.time), iron, iron_in_time(v, blow, bath, cut.time / blow.steps))


def _replaced(brought: FloatN, iron: FloatN) -> FloatN:
    """Share (N,) of the iron a step slagged that its cold matte brought back."""
    return np.clip(np.divide(brought, iron, out=zeros(iron.shape, brought, iron), where=iron > 0), 0.0, 0.8)


def _feed(c: Batch, cut: Cut) -> tuple[Settled, FloatNE, FloatN]:
    """What each step of a slag blow is fed: reverts evenly, and what leaves of the matte just charged."""
    part = cut.share / SLAG_STEPS
    reverts = c.reverts.scaled(part)
    leaving = settle_charged(c.matte.elements * column(part), c.vessel.to)
    feed = settle(reverts.elements, c.vessel.to).plus(leaving, np.ones(1))
    return feed, reverts.elements, reverts.enthalpy


def _copper_blow(c: Batch, bath: Bath, more: FloatN) -> Generator[TimeStep, None, Bath]:
    """``more`` (N,) [-] : all matte of the cycle over that of its ladles; its reverts come with all of it."""
    s, v = c.vessel.s, c.vessel
    reverts = c.copper_reverts.scaled(more / COPPER_STEPS)
    blow = Blow(
        label="copper blow", steps=COPPER_STEPS, slag=slag_assay(s, s.white_metal_iron),
        feed=settle(reverts.elements, v.to), feed_elements=reverts.elements, feed_enthalpy=reverts.enthalpy,
        blast=c.copper_blast, rate=s.copper_blow_blast, efficiency=s.copper_blow_oxygen_efficiency,
        sulfur=s.blister_sulfur, oxygen=s.blister_oxygen, coolant=c.copper_coolant,
    )  # fmt: skip
    start = bath.white
    for step in range(blow.steps):
        last = step == blow.steps - 1
        moment = blowing(v, blow, bath, copper_making(v, blow, bath, start, step), last=last)
        yield moment
        bath = moment.bath
    return bath
