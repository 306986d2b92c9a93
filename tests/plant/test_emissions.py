"""Behaviour of the emissions account."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from pyrobal.arrays import FloatN
from pyrobal.constants import HOUR, NM3
from pyrobal.errors import Reason
from pyrobal.plant.emissions import (
    EmissionsResult,
    EmissionsSettings,
    StackSettings,
    Sulfur,
    Surroundings,
    cautions,
    escape,
    solve,
)
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_SO2
from pyrobal.thermo.properties import species

GAS = species("SO2(g)", "O2(g)", "N2(g)", "H2O(g)", "SO3(g)", "H2SO4(l)")
SULFUR = Sulfur(fed=np.array([100.0]), to_gas=np.array([97.0]), acid=np.array([95.0]))


def gas(so2: object = 0.5, o2: object = 60.0, water: object = 10.0, acid: object = 0.0) -> Stream:
    """Amounts [mol/s] beside 900 of nitrogen."""
    parts = (np.atleast_1d(np.asarray(x, dtype=float)) for x in (so2, o2, 900.0, water, 0.0, acid))
    return Stream(GAS, np.stack(np.broadcast_arrays(*parts), axis=1), np.array([350.0]))


def account(
    stack: Stream | None = None,
    escaped: dict[str, Stream] | None = None,
    sulfur: Sulfur = SULFUR,
    carried: dict[str, Stream] | None = None,
    **settings: Any,
) -> EmissionsResult:
    settings = {name: np.atleast_1d(np.asarray(x, dtype=float)) for name, x in settings.items()}
    stated = {name: settings.pop(name) for name in [*settings] if name.startswith("reference")}
    around = Surroundings(
        carried or {}, {"acid_plant": StackSettings(**stated)}, np.array([2.0]), SiteSettings(), {}
    )
    s = EmissionsSettings(**settings)
    stacks = {"acid_plant": stack or gas()}
    return solve(stacks, escaped or {}, sulfur, np.array([2.0]), np.array([9.0]), s, around)


def one(x: FloatN) -> float:
    assert np.shape(x) == (1,)
    return float(x[0])


def test_dry_concentration_leaves_water_and_mist_out() -> None:
    dry = account(gas(water=0.0)).stack
    wet = account(gas(water=200.0, acid=0.01)).stack
    assert one(wet.so2_share) == one(dry.so2_share) == pytest.approx(0.5 / 960.5)
    assert one(wet.concentration("so2")) == pytest.approx(one(wet.so2_share) * M_SO2)


def test_reference_oxygen_scales_by_what_is_not_air() -> None:
    measured = gas(o2=0.05 * 900.5 / 0.95)  # 5 % oxygen, dry
    c = one(account(measured).stack.concentration("so2"))
    assert one(account(measured).stack.oxygen) == pytest.approx(0.05)
    assert one(account(measured, reference_oxygen=0.05).stack.concentration("so2")) == pytest.approx(c)
    at_three = account(measured, reference_oxygen=0.03).stack
    assert one(at_three.concentration("so2")) == pytest.approx(c * (0.20946 - 0.03) / (0.20946 - 0.05))
    assert one(at_three.measured("so2")) == c


def test_wet_and_warm_references() -> None:
    """Gas with a tenth of water fills 1 / 0.9 of the volume, and at 20 degC 293.15 / 273.15 of that."""
    dry, wet = account(), account(reference_moisture=0.1, reference_temperature=293.15)
    expected = 0.9 * 273.15 / 293.15 * one(dry.stack.concentration("so2"))
    assert one(wet.stack.concentration("so2")) == pytest.approx(expected)


def test_reference_oxygen_undoes_dilution_with_air() -> None:
    """Adding dry air changes the concentration as measured, not the one at the reference oxygen."""
    plain, air = gas(water=0.0), 400.0
    n = plain.n + np.array([0.0, 0.20946, 1 - 0.20946, 0.0, 0.0, 0.0]) * air
    diluted = account(Stream(GAS, n, plain.T), reference_oxygen=0.06).stack
    stated = account(plain, reference_oxygen=0.06).stack
    assert one(diluted.measured("so2")) < 0.8 * one(stated.measured("so2"))
    assert one(diluted.concentration("so2")) == pytest.approx(one(stated.concentration("so2")))


def test_gas_with_the_oxygen_of_air_has_no_reference() -> None:
    r = account(gas(o2=np.array([60.0, 300.0])), reference_oxygen=0.06)
    np.testing.assert_array_equal(r.reason, [Reason.SOLVED, Reason.REFERENCE_OXYGEN_UNREACHABLE])
    assert np.isfinite(r.stack.concentration("so2")[0])


def test_escape_parts_a_stream() -> None:
    taken, lost = escape(gas(), np.array([0.03]))
    np.testing.assert_allclose(taken.n + lost.n, gas().n, rtol=1e-15)
    np.testing.assert_allclose(lost.n, 0.03 * gas().n)


def test_escaped_gas_is_caught_scrubbed_or_fugitive() -> None:
    escaped = {"smelting": gas(so2=2.0), "converting": gas(so2=8.0)}
    r = account(escaped=escaped, secondary_capture=0.8, secondary_scrubbing=0.25)
    assert one(r.fugitive) == pytest.approx(2.0)
    assert one(r.stacks["secondary"].so2) == pytest.approx(6.0)
    assert one(r.stacks["secondary"].scrubbed) == pytest.approx(2.0)
    assert one(r.so2) == pytest.approx((0.5 + 6.0 + 2.0) * M_SO2)
    assert one(r.fugitive_share) == pytest.approx(2.0 / 8.5)


def test_no_secondary_hood() -> None:
    r = account(escaped={"converter": gas(so2=8.0)}, secondary_capture=0.0)
    assert one(r.fugitive) == 8.0
    assert one(r.stacks["secondary"].so2) == 0.0 == one(r.stacks["secondary"].so2_share)


def test_secondary_hoods_dilute_with_the_air_they_draw() -> None:
    escaped = {"converter": gas(so2=10.0, water=0.0)}
    r = account(escaped=escaped, secondary_capture=1.0, secondary_flow=97_000.0)
    assert one(r.stacks["secondary"].so2_share) == pytest.approx(10.0 / 97_000.0)
    assert one(r.stacks["secondary"].oxygen) == pytest.approx(
        (60.0 + (97_000.0 - 970.0) * 0.20946) / 97_000.0
    )
    assert not cautions(r)["emissions.secondary_flow"].any()
    usual = account(escaped=escaped, secondary_flow_vessel=97_000.0, secondary_flow_furnace=1e6)
    assert one(usual.stacks["secondary"].flow) == pytest.approx(
        2 * 97_000.0
    )  # two vessels; no furnace escapes
    small = account(escaped=escaped, secondary_capture=1.0, secondary_flow=10.0)
    assert cautions(small)["emissions.secondary_flow"].all()
    assert one(small.stacks["secondary"].flow) == pytest.approx(970.0)


def test_tail_gas_scrubber_keeps_sulfur() -> None:
    plain, scrubbed = account(), account(tail_scrubbing=0.9)
    assert one(scrubbed.so2) == pytest.approx(0.1 * one(plain.so2))
    assert one(scrubbed.capture) - one(plain.capture) == pytest.approx(0.45 / 100.0)
    other = solve(
        {"furnace": gas()},
        {},
        SULFUR,
        np.ones(1),
        np.ones(1),
        EmissionsSettings(tail_scrubbing=np.array([0.9])),
    )
    assert one(other.stack.so2) == 0.5  # it stands behind the acid plant only


def test_sulfur_shares() -> None:
    r = account(gas(so2=0.5, acid=0.1), escaped={"converting": gas(so2=1.0)}, secondary_capture=0.5)
    assert one(r.capture) == pytest.approx(0.95)
    assert one(r.gas_capture) == pytest.approx(95.0 / 97.0)
    assert one(r.emitted_share) == pytest.approx((0.5 + 1.0 + 0.1) / 100.0)


def test_per_copper_and_per_acid() -> None:
    r = account(escaped={"converting": gas(so2=1.0)})
    assert one(r.so2_per_copper) == pytest.approx(1.5 * M_SO2 / 2.0)
    assert one(r.so2_per_acid) == pytest.approx(0.5 * M_SO2 / 9.0)


def test_nothing_is_compared_without_a_limit() -> None:
    assert set(cautions(account(escaped={"converter": gas()}))) == {"emissions.secondary_flow"}


def test_every_limit_can_be_broken_and_kept() -> None:
    """Each limit just above and just below the figure it is for."""
    stack, escaped = gas(so2=0.5, acid=0.02), {"converter": gas(so2=0.01)}
    r = account(stack, escaped)
    secondary = r.stacks["secondary"]
    figures = {
        "so2_stack_limit": ("emissions.stated.acid_plant.so2", r.stack.concentration("so2")),
        "mist_limit": ("emissions.stated.acid_plant.mist", r.stack.concentration("mist")),
        "so2_limit": ("emissions.so2", r.so2),
        "so2_per_t_cu_limit": ("emissions.so2_per_t_cu", r.so2_per_copper),
        "so2_per_t_acid_limit": ("emissions.so2_per_t_acid", r.so2_per_acid),
        "secondary_so2_limit": ("emissions.stated.secondary.so2", secondary.concentration("so2")),
        "capture_limit": ("emissions.sulfur_capture", r.capture),
    }
    for limit, (key, figure) in figures.items():
        both = account(stack, escaped, **{limit: figure * np.array([0.999, 1.001])})
        expected = [False, True] if limit == "capture_limit" else [True, False]
        assert key in cautions(both)
        np.testing.assert_array_equal(cautions(both)[key], expected, err_msg=limit)


def test_a_bad_scenario_leaves_the_others_as_they_are() -> None:
    so2 = np.array([0.5, np.nan, 0.7])
    r = account(gas(so2=so2), escaped={"converting": gas(so2=2.0)}, so2_limit=1.0 / HOUR)
    np.testing.assert_array_equal(r.reason, [Reason.SOLVED, Reason.INPUT_NOT_FINITE, Reason.SOLVED])
    np.testing.assert_array_equal(cautions(r)["emissions.so2"], [True, False, True])
    for i in (0, 2):
        alone = account(gas(so2=so2[i]), escaped={"converting": gas(so2=2.0)})
        assert r.so2[i] == one(alone.so2)
        assert r.stack.concentration("so2")[i] == one(alone.stack.concentration("so2"))


def test_the_limit_of_stacks_holds_for_every_stack() -> None:
    """A furnace let go to a stack is far above a limit that the acid plant keeps."""
    weak, strong = gas(so2=0.1), gas(so2=400.0)
    s = EmissionsSettings(so2_stack_limit=np.array([500e-6 / NM3]))
    stacks = {"acid_plant": weak, "furnace": strong}
    r = solve(stacks, {"converter": strong}, SULFUR, np.ones(1), np.ones(1), s)
    said = {key for key, broken in cautions(r).items() if broken.all()}
    assert said == {"emissions.stated.furnace.so2", "emissions.stated.secondary.so2"}
    assert one(r.worst("so2")) == one(r.stacks["furnace"].concentration("so2"))
    own = dataclasses.replace(
        s, secondary_so2_limit=np.array([1.0])
    )  # hoods with a limit of their own keep it
    r = solve(stacks, {"converter": strong}, SULFUR, np.ones(1), np.ones(1), own)
    assert not cautions(r)["emissions.stated.secondary.so2"].any()


def test_dust_and_metals_of_a_stack() -> None:
    """Solids count as dust, and so do vapours of metals; mercury and acid mist do not. All forms of a metal count."""
    hot = Stream(
        species("SO2(g)", "O2(g)", "N2(g)", "As4O6(g)", "Hg(g)"),
        np.array([[1.0, 10.0, 89.0, 0.001, 0.002]]), np.array([600.0]),
    )  # fmt: skip
    dust = Stream(species("PbSO4", "H2SO4(l)", "Hg"), np.array([[0.01, 0.02, 0.003]]), np.array([600.0]))
    stack = account(hot, carried={"acid_plant": dust}).stack
    assert one(stack.rate("Hg")) == pytest.approx(0.005 * 0.200592)
    assert one(stack.rate("As")) == pytest.approx(0.004 * 0.0749216)
    assert one(stack.rate("Pb")) == pytest.approx(0.01 * 0.2072)
    assert one(stack.dust) == pytest.approx(0.01 * 0.30326 + 0.001 * 0.395682, rel=1e-4)
    assert one(stack.rate("mist")) == pytest.approx(0.02 * 0.098079, rel=1e-4)


def test_filter_of_the_secondary_hoods() -> None:
    """It catches dust and what condenses in the cold air; gases and mercury go through."""
    escaped = {
        "converter": Stream(species("SO2(g)", "Hg(g)", "PbO(g)"), np.full((1, 3), 0.5), np.array([1400.0]))
    }
    carried = {"escaped_converter": Stream(species("Cu2O"), np.array([[0.7]]), np.array([1400.0]))}
    r = account(escaped=escaped, carried=carried, secondary_capture=0.8, secondary_dust_catch=0.99)
    secondary = r.stacks["secondary"]
    assert one(secondary.rate("Hg")) == pytest.approx(0.8 * 0.5 * 0.200592)
    assert one(secondary.rate("Pb")) == pytest.approx(0.01 * 0.8 * 0.5 * 0.2072)
    assert one(secondary.dust) == pytest.approx(0.01 * 0.8 * (0.5 * 0.2232 + 0.7 * 0.143091), rel=1e-3)
    assert one(r.escaped.dust) == pytest.approx(0.2 * (0.5 * 0.2232 + 0.7 * 0.143091), rel=1e-3)
