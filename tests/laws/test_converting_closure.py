"""Conservation and scaling of converting: every element and the heat, at each moment and in the whole."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mattes import LIME, SCRAP, SILICA, SITE, SKULLS, matte, solid

from pyrobal.arrays import FloatNE, Floats
from pyrobal.errors import Reason
from pyrobal.plant.converting import ConvertingResult, ConvertingSettings, solve
from pyrobal.plant.converting.batch import run_cycle
from pyrobal.plant.converting.deportment import phases
from pyrobal.plant.converting.feed import Charge
from pyrobal.plant.converting.schedule import march
from pyrobal.plant.converting.time_step import TimeStep
from pyrobal.streams.stream import Stream

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


def taken_out(m: TimeStep) -> FloatNE:
    """(N, E) [mol] that left in a moment."""
    p = phases()
    out: FloatNE = (
        m.gas @ p["gas"].composition + m.dust @ p["dust"].composition + m.slag @ p["slag"].composition
    )
    return out


@pytest.mark.parametrize("hold", [True, False])
def test_they_close_at_each_moment_of_the_march(hold: bool) -> None:
    s = random_settings(COUNT, 7)
    charge = Charge.of(
        random_matte(COUNT, 6),
        {"slag_blow": [solid(SKULLS, 0.4)], "copper_blow": [solid(SCRAP, 0.2)]},
        SILICA,
        None,
    )
    with np.errstate(all="ignore"):
        run = run_cycle(charge, SITE, s, hold)
        moments = list(march(run.given, COUNT))
    held = np.zeros_like(moments[0].elements_in)
    heat, turned_over = np.zeros(COUNT), np.zeros(COUNT)
    steady = np.isfinite(run.course.T).all(axis=1)
    assert steady.mean() > 0.9
    for m in moments:
        held = held + m.elements_in - taken_out(m)
        heat = heat + m.heat_in - m.gas_heat - m.dust_heat - m.slag_heat - m.loss
        turned_over = turned_over + np.abs(m.heat_in) + np.abs(m.gas_heat)
        element_scale = np.maximum(held.sum(axis=1), 1.0)
        assert _largest(held - m.bath.elements(), element_scale, steady) < CLOSED, m.label
        assert _largest((heat - m.bath.H)[:, None], turned_over + 1.0, steady) < CLOSED, m.label
        content = m.bath.content.enthalpy(m.bath.T)
        assert _largest((content - m.bath.H)[:, None], turned_over + 1.0, steady) < CLOSED, m.label


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
