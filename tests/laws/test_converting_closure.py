"""Conservation and scaling of converting: every element and the heat, at each moment and in the whole."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mattes import LIME, SCRAP, SILICA, SITE, SKULLS, matte, solid

from pyrobal.arrays import FloatN, FloatNE, FloatNS, Floats, column
from pyrobal.errors import Reason
from pyrobal.plant.converting import ConvertingResult, ConvertingSettings, solve
from pyrobal.plant.converting.batch import Run, run_cycle
from pyrobal.plant.converting.blast import Blast
from pyrobal.plant.converting.deportment import phases
from pyrobal.plant.converting.feed import Charge
from pyrobal.plant.converting.schedule import Stage, cuts, march, matte_in_cycle
from pyrobal.plant.converting.sums import parts
from pyrobal.plant.converting.time_step import Moment
from pyrobal.plant.converting.vessel import Addition, no_entry
from pyrobal.streams.ledger import Entry
from pyrobal.streams.site import air_species
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ELEMENTS

CLOSED = 1e-9  # relative; what the product promises. Round-off alone is about 1e-15.
COUNT = 300
WAYS = [
    {"kind": "batch"},
    {"kind": "batch", "close_heat_with": "nothing"},
    {"kind": "batch", "copper_coolant": "copper_scrap"},
    {"kind": "continuous"},
    {"kind": "continuous", "slag_system": "silicate", "close_heat_with": "enrichment"},
    {"kind": "continuous", "matte_state": "solid", "close_heat_with": "nothing"},
]
RANGES = {
    "first_ladles": (2.0, 6.0), "later_ladles": (0.5, 3.0), "slag_blows": (1.0, 4.0), "cut_iron": (0.03, 0.10),
    "white_metal_iron": (0.003, 0.02), "slag_blow_enrichment": (0.21, 0.30), "copper_blow_enrichment": (0.21, 0.25),
    "slag_blow_oxygen_efficiency": (0.7, 1.0), "copper_blow_oxygen_efficiency": (0.7, 1.0),
    "enrichment": (0.25, 0.9), "oxygen_efficiency": (0.8, 1.0), "cao_fe": (0.2, 0.6), "oxygen_purity": (0.92, 0.99),
    "fe_sio2": (1.4, 2.6), "slag_magnetite": (0.05, 0.25), "slag_entrained_copper": (0.0, 0.05),
    "blister_sulfur": (0.0002, 0.005), "blister_oxygen": (0.001, 0.01), "dust": (0.0, 0.03), "hood_air": (0.0, 3.0),
    "heat_loss": (0.5e6, 4e6), "matte_temperature_drop": (0.0, 100.0), "bath_temperature": (1450.0, 1560.0),
}  # fmt: skip


def random_settings(count: int, seed: int, **change: Any) -> ConvertingSettings:
    rng = np.random.default_rng(seed)
    numbers = {name: rng.uniform(*limits, count) for name, limits in RANGES.items()}
    return ConvertingSettings(**(numbers | change))


def random_matte(count: int, seed: int) -> Stream:
    rng = np.random.default_rng(seed)
    draw = {
        "grade": (0.45, 0.74),
        "rate": (3.0, 30.0),
        "magnetite": (0.0, 0.04),
        "minors": (0.0, 2.0),
        "T": (1450, 1550),
    }
    return matte(**{name: rng.uniform(*limits, count) for name, limits in draw.items()})


def plant(count: int, seed: int, **change: Any) -> ConvertingResult:
    reverts = {"slag_blow": [solid(SKULLS, 0.4)], "copper_blow": [solid(SCRAP, 0.1), solid(SKULLS, 0.05)]}
    return solve(
        random_matte(count, seed), reverts, SILICA, LIME, SITE, random_settings(count, seed + 1, **change)
    )


def assert_closed(r: ConvertingResult, least_solved: float = 0.4) -> None:
    good = r.reason == Reason.SOLVED
    assert good.mean() >= least_solved
    assert np.abs(r.ledger.element_closure()[good]).max() < CLOSED
    assert np.abs(np.broadcast_to(r.ledger.heat_closure(), good.shape)[good]).max() < CLOSED


@pytest.mark.parametrize("way", WAYS, ids=lambda way: " ".join(way.values()))
def test_every_element_and_the_heat_close(way: dict[str, str]) -> None:
    r = plant(COUNT, 1, **way)
    assert_closed(r)
    good = r.reason == Reason.SOLVED
    for stream in (r.blister, r.slag, r.gas, r.dust, r.mouth_gas, r.peak_gas, r.blast):
        assert (stream.n[good] > -1e-9 * stream.total()[good][:, None]).all()


def test_they_close_without_flux_and_with_own_assays() -> None:
    s = random_settings(COUNT, 5, slag_copper=np.full(COUNT, 0.06), fe_sio2=np.full(COUNT, 2.0))
    r = solve(random_matte(COUNT, 4), {}, None, None, SITE, s)
    assert_closed(r)
    assert (r.silica_flux == 0).all()
    good = r.reason == Reason.SOLVED
    assert np.allclose(r.slag.element("Cu")[good] * 0.063546, 0.06 * r.slag.mass()[good], rtol=1e-4)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), way=st.sampled_from(WAYS))
def test_they_close_whatever_the_plant(seed: int, way: dict[str, str]) -> None:
    r = plant(8, seed, **way)
    good = r.reason == Reason.SOLVED
    if good.any():
        assert_closed(r, least_solved=0.0)


def elements(change: Floats) -> FloatNE:
    """(N, E) [mol] in bath, slag, gas and dust of a change together."""
    p, at = phases(), parts()
    found: FloatNE = sum(
        change[:, at[name]] @ p[name].composition for name in ("bath", "slag", "gas", "dust")
    )
    return found


@pytest.mark.parametrize("hold", [True, False])
def test_they_close_at_each_moment_of_the_march(hold: bool) -> None:
    """What ladles, reverts, flux, blast and cold charge bring is in the vessel or has left."""
    s = random_settings(COUNT, 7)
    charge = Charge.of(
        random_matte(COUNT, 6),
        {"slag_blow": [solid(SKULLS, 0.4)], "copper_blow": [solid(SCRAP, 0.2)]},
        SILICA,
        None,
    )
    with np.errstate(all="ignore"):
        run = run_cycle(charge, SITE, s, hold)
        stages = march(run.given, COUNT)
    steady = np.isfinite(run.course.T).all(axis=1)
    assert steady.mean() > 0.9
    brought, found = np.zeros((2, COUNT, len(ELEMENTS)))
    heat, turned_over = np.zeros((2, COUNT))
    for stage, bringing in zip(stages, all_brought(run, stages), strict=True):
        brought, heat = brought + bringing.ladles.elements, heat + bringing.ladles.enthalpy
        found = found + bringing.melt @ phases()["bath"].composition
        for m in stage.moments:
            n, added = total(m, stage), bringing.coolant.melt * column(m.cold)
            brought = brought + bringing.of_moment(n, m.cold)
            for cold_before in m.extents[1:2]:
                brought = brought + column(cold_before) * bringing.coolant.reverts.elements
            found = found + elements(n) + added @ phases()["bath"].composition
            gain = n[:, parts()["heat"]][:, 0] + m.cold * bringing.coolant.enthalpy
            heat = heat + gain - m.gas_heat - m.slag_heat - m.loss * (not stage.changes)
            turned_over = turned_over + np.abs(gain) + np.abs(m.gas_heat) + np.abs(m.bath.H)
            assert _largest(found - brought, np.abs(brought).sum(axis=1), steady) < CLOSED, m.label
            assert _largest((heat - m.bath.H)[:, None], turned_over, steady) < CLOSED, m.label
            content = m.bath.content.enthalpy(m.bath.T)
            assert _largest((content - m.bath.H)[:, None], turned_over, steady) < CLOSED, m.label


@dataclasses.dataclass(frozen=True)
class Bringing:
    """ladles, melt : poured in at once; reverts : with each step; blast, coolant, flux of the stage."""

    ladles: Entry
    melt: FloatNS
    reverts: FloatNE
    blast: Blast
    coolant: Addition
    flux: FloatNE

    def of_moment(self, n: Floats, cold: FloatN) -> FloatNE:
        """(N, E) [mol] with the reverts, blast, flux and cold charge of a step that changes ``n`` (N, W)."""
        brought = n[:, parts()["blown"]] * (self.blast.n @ air_species().composition)
        brought = brought + n[:, parts()["flux"]] * self.flux + self.coolant.entry(cold).elements
        return self.reverts + brought


def all_brought(run: Run, stages: list[Stage]) -> list[Bringing]:
    g, nothing = run.given, no_entry()
    assert g.vessel.flux is not None
    in_slag_blow = (g.slag_blast, g.slag_coolant, g.vessel.flux.elements)
    in_copper_blow = (g.copper_blast, g.copper_coolant, g.vessel.flux.elements)
    none, found = np.zeros((1, len(phases()["bath"]))), []
    cold = 0.0
    for k, cut in enumerate(cuts(g.vessel.s)):
        charged, blow = stages[3 * k : 3 * k + 2]
        cold = cold + np.sum([m.cold for m in blow.moments], axis=0)
        reverts = g.reverts.elements * column(cut.share) / len(blow.moments)
        found.append(Bringing(g.matte.scaled(cut.share), charged.added, 0.0 * reverts, *in_slag_blow))
        found.append(Bringing(nothing, none, reverts, *in_slag_blow))
        found.append(Bringing(nothing, none, 0.0 * reverts, *in_slag_blow))
    more = 1.0 + cold / matte_in_cycle(g.vessel.s)
    reverts = g.copper_reverts.elements * column(more) / len(stages[-2].moments)
    found.append(Bringing(nothing, none, reverts, *in_copper_blow))
    return [*found, Bringing(nothing, none, 0.0 * reverts, *in_copper_blow)]


def total(m: Moment, stage: Stage) -> Floats:
    """(N, W) what a moment changes."""
    n = np.zeros((COUNT, parts()["heat"].stop))
    for extent, change in zip(m.extents, stage.changes, strict=True):
        n = n + column(extent) * change
    return n


def _largest(miss: Floats, scale: Floats, rows: Floats) -> float:
    return float(np.abs(miss / scale[:, None])[rows].max())


@pytest.mark.parametrize("kind", ["batch", "continuous"])
def test_twice_the_plant_gives_twice_of_everything(kind: str) -> None:
    """More vessels of the same size; one continuous vessel with twice the heat loss."""
    s = random_settings(40, 9, kind=kind)
    feed = random_matte(40, 8)
    double = dataclasses.replace(s, heat_loss=s.heat_loss * (2.0 if kind == "continuous" else 1.0))
    one, two = (
        solve(stream, {"slag_blow": [solid(SKULLS, rate)]}, SILICA, LIME, SITE, setting)
        for stream, rate, setting in ((feed, 0.5, s), (feed.scaled(2 * np.ones(1)), 1.0, double))
    )
    good = one.reason == Reason.SOLVED
    assert (one.reason == two.reason).all()
    for name in ("blister", "slag", "gas", "dust"):
        a, b = getattr(one, name), getattr(two, name)
        assert np.allclose(b.n[good], 2 * a.n[good], rtol=1e-9, atol=1e-12 * a.n[good].max())
        assert np.allclose(b.T[good if len(b.T) > 1 else 0], a.T[good if len(a.T) > 1 else 0], rtol=1e-10)
