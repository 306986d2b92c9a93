"""Electrorefining: shares, current, limits."""

from __future__ import annotations

import numpy as np
import pytest
from slags import BLISTER, GAS, SITE, melt, random_melts

from pyrobal.errors import Reason
from pyrobal.plant import anode_furnace
from pyrobal.plant.electrorefining import ElectrorefiningResult, ElectrorefiningSettings, solve
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS


def anodes(blister: Stream | None = None) -> Stream:
    fed = melt(BLISTER, T=1480.0) if blister is None else blister
    return anode_furnace.solve(fed, None, SITE, anode_furnace.AnodeFurnaceSettings(), GAS, GAS).anodes


def refine(charged: Stream | None = None, **settings: object) -> ElectrorefiningResult:
    numbers = {k: np.atleast_1d(v) if isinstance(v, float) else v for k, v in settings.items()}
    return solve(anodes() if charged is None else charged, ElectrorefiningSettings(**numbers))


def mass(stream: Stream, element: str) -> float:
    return float((stream.element(element) * ATOMIC_MASS[ELEMENTS.index(element)])[0])


def test_scrap_is_a_piece_of_the_anode() -> None:
    r = refine(anode_scrap=0.2)
    np.testing.assert_allclose(r.scrap.n, 0.2 * r.anodes.n, rtol=1e-12)


def test_slimes_hold_the_precious_metals_and_their_copper() -> None:
    r = refine(slimes_copper=0.25, anode_scrap=0.0)
    assert mass(r.slimes, "Cu") / r.slimes.mass()[0] == pytest.approx(0.25, rel=1e-9)
    assert mass(r.slimes, "Au") / mass(r.anodes, "Au") == pytest.approx(0.998, rel=1e-9)
    assert mass(r.slimes, "Ag") / mass(r.anodes, "Ag") > 0.98
    assert mass(r.slimes, "S") == pytest.approx(mass(r.anodes, "S"), rel=1e-12)


def test_oxygen_of_the_anode_puts_as_much_copper_into_the_electrolyte() -> None:
    r = refine(anode_scrap=0.0)
    np.testing.assert_allclose(r.electrolyte.element("Cu"), r.anodes.element("O"), rtol=1e-12)
    np.testing.assert_allclose(r.electrolyte.element("O"), r.anodes.element("O"), rtol=1e-12)


def test_current_and_energy() -> None:
    r = refine(current_efficiency=0.9, cell_voltage=0.28, rectifier_efficiency=1.0, current_density=300.0)
    np.testing.assert_allclose(r.power, 0.28 * r.current, rtol=1e-12)
    np.testing.assert_allclose(r.cathode_area * 300.0, r.current, rtol=1e-12)
    better = refine(current_efficiency=0.95, cell_voltage=0.28, rectifier_efficiency=1.0)
    np.testing.assert_allclose(better.current * 0.95, r.current * 0.9, rtol=1e-12)


def test_the_users_own_deportment_stands() -> None:
    r = refine(deportment={"Bi": {"slimes": np.array([1.0])}}, anode_scrap=0.0)
    assert mass(r.electrolyte, "Bi") == 0.0
    assert mass(r.slimes, "Bi") == pytest.approx(mass(r.anodes, "Bi"), rel=1e-12)


def test_bad_scenarios_say_so_and_leave_the_others_bit_identical() -> None:
    charged = anodes(random_melts(BLISTER, 20, seed=1, T=1480.0))
    n = charged.n.copy()
    n[::5] = np.nan
    good, spoilt = refine(charged), refine(Stream(charged.phase, n, charged.T))
    assert np.array_equal(spoilt.reason == Reason.INPUT_NOT_FINITE, np.arange(20) % 5 == 0)
    kept = spoilt.reason == Reason.SOLVED
    assert np.array_equal(good.current[kept], spoilt.current[kept])
    assert np.array_equal(good.slimes.n[kept], spoilt.slimes.n[kept])


def test_one_scenario_alone_is_the_same_as_in_the_batch() -> None:
    charged = anodes(random_melts(BLISTER, 20, seed=1, T=1480.0))
    together = refine(charged)
    alone = refine(Stream(charged.phase, charged.n[7:8], charged.T))
    np.testing.assert_allclose(alone.cathode.n[0], together.cathode.n[7], rtol=1e-12)
