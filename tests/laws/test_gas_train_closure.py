"""Elements and heat over every piece of the gas train and over the whole, for random gases and settings."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from off_gases import ANODE, CONVERTER, DUST, FURNACE, gas_train, sources, stream

from pyrobal.arrays import take
from pyrobal.constants import celsius
from pyrobal.errors import Reason
from pyrobal.plant.gas_train import (
    AnodeGasSettings,
    ConverterGasSettings,
    GasLineSettings,
    GasTrainResult,
    GasTrainSettings,
    Source,
    solve,
)
from pyrobal.plant.gas_train.reactions import ALL
from pyrobal.plant.gas_train.settings import COOLINGS
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ELEMENTS, composition
from pyrobal.thermo.tables import find

CLOSED = 1e-9  # relative; the streams are made by difference, so only rounding is left


class Case(NamedTuple):
    """What ``solve`` is given."""

    sources: dict[str, Source]
    lines: dict[str, GasLineSettings]
    settings: GasTrainSettings
    site: SiteSettings


def random_case(seed: int, cooling: str, count: int = 30) -> Case:
    """Gas, dust, air, catches and temperatures at random; the furnace line cooled as asked for."""
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, count)

    def about(amounts: dict[str, float]) -> dict[str, Any]:
        return {name: n * between(0.3, 2.0) for name, n in amounts.items()}

    hot = between(celsius(1100), celsius(1450))
    furnace = Source(stream(about(FURNACE), hot), stream(about(DUST), hot))
    given = {
        "furnace": furnace,
        "converter": Source(stream(about(CONVERTER), between(1300, 1600))),
        "anode": Source(stream(about(ANODE), between(1300, 1600))),
    }
    line: dict[str, Any] = {
        "hood_air": between(0.1, 1.0), "cooler_temperature": between(celsius(250), celsius(500)),
        "cooler_leak": between(0, 0.3), "cooler_loss": between(0, 0.2), "cooler_catch": between(0, 1),
        "steam_pressure": between(1e6, 1e7), "so3_share": between(0, 0.05), "sulfation": between(0, 1),
        "sulfation_air": between(0.5, 3), "arsenic_to_dust": between(0, 1), "precipitator_leak": between(0, 0.3),
        "precipitator_catch": between(0.5, 1), "precipitator_cooling": between(0, 60), "fan_pressure": between(0, 1e4),
    }  # fmt: skip
    wet = GasTrainSettings(
        suction=between(0, 8e3), wash_water_temperature=between(280, 315), weak_acid_strength=between(0.01, 0.4),
        scrubber_catch=between(0, 1), so2_stripping=between(0, 1), cooled_gas_temperature=between(283, 318),
        mist_catch=between(0.5, 1), wet_leak=between(0, 0.2), so2_highest=between(0.05, 0.3),
        o2_so2_lowest=between(0, 1.5),
    )  # fmt: skip
    site = SiteSettings(
        pressure=between(7e4, 1.04e5), air_temperature=between(250, 313), relative_humidity=between(0, 1)
    )
    lines = {
        "furnace": GasLineSettings(cooling=cooling, **line),
        "converter": ConverterGasSettings(),
        "anode": AnodeGasSettings(),
    }
    return Case(given, lines, wet, site)


def scenario(case: Case, i: int) -> Case:
    """One of the scenarios on its own."""
    rows = np.array([i])

    def row(x: Stream) -> Stream:
        return Stream(x.phase, x.n[rows], take(x.T, rows))

    alone = {name: Source(row(x.gas), row(x.dust) if x.dust else None) for name, x in case.sources.items()}
    return Case(alone, *(take(part, rows) for part in case[1:]))


def random_train(seed: int, cooling: str) -> GasTrainResult:
    return solve(*random_case(seed, cooling))


@pytest.mark.parametrize("cooling", COOLINGS)
@settings(max_examples=4, deadline=None)
@given(seed=st.integers(0, 2**31))
def test_elements_and_heat_close(cooling: str, seed: int) -> None:
    r = random_train(seed, cooling)
    assert (r.reason == Reason.SOLVED).all()
    assert r.cleaning is not None
    pieces = [p for line in r.lines.values() for p in line.pieces.values()] + [*r.cleaning.pieces.values()]
    for ledger in (*(piece.ledger for piece in pieces), r.ledger):
        assert np.abs(ledger.element_closure()).max() <= CLOSED
        assert np.abs(ledger.heat_closure()).max() <= CLOSED


@pytest.mark.parametrize("cooling", COOLINGS)
@settings(max_examples=4, deadline=None)
@given(seed=st.integers(0, 2**31))
def test_no_amount_is_negative_and_water_is_saturated_where_it_should_be(cooling: str, seed: int) -> None:
    r = random_train(seed, cooling)
    assert r.cleaning is not None
    for point in r.points.values():
        assert point.offgas.gas.n.min() >= -1e-9 and point.offgas.carried.n.min() >= 0.0
    assert r.cleaning.make_up.min() >= -1e-9
    assert (r.cleaning.weak_acid_strength <= r.settings.weak_acid_strength * (1 + 1e-9)).all()
    for name in ("quench", "tower"):
        point = r.points[name]  # the dew point of water is the temperature of a saturated gas
        np.testing.assert_allclose(point.dew_point.low, point.offgas.T, atol=0.02)


def test_the_whole_takes_what_its_pieces_take() -> None:
    """The ledger of the whole turns over all that enters: gas, dust, every air and water."""
    r = random_train(1, "boiler")
    air = r.lines["furnace"].hood.ledger.inputs["air"]
    assert "furnace.hood.air" in r.ledger.inputs
    np.testing.assert_array_equal(r.ledger.inputs["furnace.hood.air"].elements, air.elements)
    n = ELEMENTS.index("N")
    out = r.ledger.outputs["cleaned_gas"].elements[:, n] + r.ledger.outputs["anode.stack_gas"].elements[:, n]
    np.testing.assert_allclose(out, r.ledger.elements_in()[:, n], rtol=1e-12)


@pytest.mark.parametrize("reaction", ALL, ids=lambda r: next(iter(r)))
def test_reactions_balance(reaction: dict[str, float]) -> None:
    total: dict[str, float] = {}
    for name, moles in reaction.items():
        for element, count in composition(find(name).formula).items():
            total[element] = total.get(element, 0.0) + moles * count
    assert all(abs(x) < 1e-12 for x in total.values()), total


def test_feed_twice_gives_twice() -> None:
    single, double = gas_train(sources(1.0)), gas_train(sources(2.0))
    assert single.to_acid_plant is not None and double.to_acid_plant is not None
    np.testing.assert_allclose(double.to_acid_plant.n, 2 * single.to_acid_plant.n, rtol=1e-10)
    np.testing.assert_allclose(double.to_acid_plant.T, single.to_acid_plant.T, rtol=1e-12)
    np.testing.assert_allclose(double.steam, 2 * single.steam, rtol=1e-12)


def test_vector_is_scalar_bit_for_bit() -> None:
    case = random_case(7, "boiler", count=5)
    together = solve(*case)
    assert together.cleaning is not None
    for i in range(5):
        row = solve(*scenario(case, i))
        assert (
            row.cleaning is not None and row.to_acid_plant is not None and together.to_acid_plant is not None
        )
        np.testing.assert_array_equal(row.to_acid_plant.n[0], together.to_acid_plant.n[i])
        assert row.to_acid_plant.T[0] == together.to_acid_plant.T[i]
        assert row.steam[0] == together.steam[i]
        assert row.cleaning.quench.outlet.T[0] == together.cleaning.quench.outlet.T[i]
