"""Elements and heat over the acid plant, read off its streams, for random gases and settings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pyrobal.constants import celsius
from pyrobal.errors import Reason
from pyrobal.plant.acid_plant import AcidPlantResult, AcidPlantSettings, solve
from pyrobal.plant.acid_plant.settings import ARRANGEMENTS
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_ACID
from pyrobal.thermo.properties import species

CLOSED = 1e-9  # relative; the streams are made by difference, so only rounding is left
NAMES = ("SO2(g)", "O2(g)", "N2(g)", "Ar(g)", "CO2(g)", "H2O(g)", "SO3(g)", "H2SO4(g)", "As4O6(g)")


def random_plant(seed: int, beds: str, count: int = 40) -> AcidPlantResult:
    """Gases of 0.1 to 30 % SO2, without oxygen to twice as much, dry to very wet, and settings at random."""
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, count)

    y = 10 ** between(-3, np.log10(0.3))
    traces = [between(0, 1e-3), between(0, 1e-4), between(0, 1e-8)]
    n = np.stack(
        [
            y,
            y * between(0, 2),
            between(0.3, 0.9),
            *(between(0, 0.05) for _ in range(2)),
            between(0, 0.15),
            *traces,
        ],
        1,
    )
    s = AcidPlantSettings(
        beds=beds,
        bed_1_inlet=between(celsius(380), celsius(450)),
        bed_3_inlet=between(celsius(380), celsius(480)),
        bed_1_approach=between(0, 60),
        bed_4_approach=between(0, 60),
        pressure=between(1e5, 3e5),
        absorption=between(0.97, 1.0),
        strength=between(0.93, 1.0),
        drying_strength=between(0.80, 1.0),
        drawn_from_drying=between(0, 1),
        heat_loss=between(0, 0.1),
    )
    return solve(
        Stream(species(*NAMES), n * between(100, 3000)[:, None], between(290, 320)), SiteSettings(), s
    )


@pytest.mark.parametrize("beds", ARRANGEMENTS)
@settings(max_examples=4, deadline=None)
@given(seed=st.integers(0, 2**31))
def test_elements_and_heat_close(beds: str, seed: int) -> None:
    r = random_plant(seed, beds)
    assert (r.reason == Reason.SOLVED).all()
    assert np.abs(r.ledger.element_closure()).max() <= CLOSED
    assert np.abs(r.ledger.heat_closure()).max() <= CLOSED


def test_every_bed_keeps_its_enthalpy() -> None:
    r = random_plant(1, "3/2")
    for bed in r.converter.beds:
        np.testing.assert_allclose(bed.outlet.enthalpy(), bed.inlet.enthalpy(), rtol=1e-9)


def test_nothing_is_negative() -> None:
    r = random_plant(2, "3/1", count=400)
    for stream in (r.tail, r.feed, r.acid.mist, r.acid.dilution, *r.acid.products.values()):
        assert (stream.n >= 0).all()
    assert ((r.conversion >= 0) & (r.conversion <= 1)).all()


def test_tail_gas_by_stoichiometry() -> None:
    """y_tail = (1 - X) y / (1 - 1.5 X y) for dry gas whose SO3 is all absorbed: the gas only shrinks."""
    y = np.array([0.06, 0.08, 0.10, 0.12])
    n = np.stack([y, 1.1 * y, 1 - 2.1 * y, 0 * y], axis=1)
    s = AcidPlantSettings(absorption=np.ones(1))
    r = solve(Stream(species("SO2(g)", "O2(g)", "N2(g)", "H2O(g)"), n, np.array([300.0])), SiteSettings(), s)
    X = r.conversion
    np.testing.assert_allclose(
        r.tail.amount("SO2(g)") / r.tail.total(), (1 - X) * y / (1 - 1.5 * X * y), rtol=1e-12
    )


def test_acid_and_water_by_stoichiometry() -> None:
    """1 t of 100 % acid in acid of strength w needs M_W / M_A + (1 - w) / w t of water."""
    r = random_plant(3, "3/1")
    s, made = r.settings, (r.acid.production() + r.acid.mist.total()) * M_ACID
    ratio = 18.015 / 98.072  # standard atomic weights abridged: H 1.008, O 15.999, S 32.06
    by_circuit = (1 - s.drawn_from_drying) * (1 - s.strength) / s.strength
    by_circuit = by_circuit + s.drawn_from_drying * (1 - s.drying_strength) / s.drying_strength
    drawn = r.acid.production() * M_ACID
    imported = r.drying.acid * M_ACID  # came as H2SO4: needs no water
    expected = (made - imported) * ratio + drawn * by_circuit
    np.testing.assert_allclose(r.acid.water_room * 0.018015, expected, rtol=1e-5)
