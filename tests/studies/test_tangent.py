"""Derivatives against differences: of eight thousand slopes of random furnaces, and every setting of the demonstration cases."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from plants import random_plants

from pyrobal.arrays import Floats, take
from pyrobal.case.load import load_case
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry
from pyrobal.studies.measure import measured
from pyrobal.studies.tangent import differences, tangent
from pyrobal.studies.variable import Variable, blend_rate, find, variables

CASES = Path(__file__).parents[2] / "cases"
# The differences, not the derivatives, set the tolerance: of fourth order with a step of 1e-3, their own error
# is about 1e-12 (step) and 1e-13 / 1e-3 (round-off of the balance) of the reading, and a slope may be small.
AGREE = 1e-5
READ = (
    "smelting.oxygen.demand", "smelting.matte.rate", "smelting.slag.rate", "smelting.slag.magnetite",
    "smelting.gas.flow_wet", "smelting.gas.so2", "smelting.fuel_heat", "smelting.slag.viscosity",
)  # fmt: skip
RANDOM = (
    "smelting.matte_grade", "smelting.enrichment", "smelting.fe_sio2", "smelting.heat_loss", "smelting.dust",
    "concentrate.Alder.assay.Fe", "concentrate.Alder.rate",
)  # fmt: skip


@pytest.fixture(autouse=True)
def no_imaginary_part_is_dropped() -> object:
    """numpy only warns where a derivative is lost on the way; here that is an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", np.exceptions.ComplexWarning)
        yield


def central(inputs: Inputs, variable: Variable, step: float) -> tuple[Floats, Floats]:
    """(N, R) difference quotients of fourth order with a relative step and with half of it, of one solve."""
    value = variable.value(inputs)
    assert value is not None
    n, width = inputs.scenarios, step * np.abs(value)
    at = np.array([-2.0, -1.0, -0.5, 0.5, 1.0, 2.0])
    rows = take(inputs, np.tile(np.arange(n), len(at)))
    r = solve(rows.replace(variable.path, (value + at[:, None] * width).ravel()))
    found = np.stack([measured(r, key).reshape(len(at), n) for key in READ], axis=2)
    a, b, c, d, e, f = found
    coarse: Floats = (a - 8 * b + 8 * e - f) / (12 * width[:, None])
    fine: Floats = (b - 8 * c + 8 * d - e) / (6 * width[:, None])
    return coarse, fine


def test_random_furnaces() -> None:
    inputs = random_plants(150, seed=11)
    chosen = [find(inputs, key) for key in RANDOM]
    exact = tangent(inputs, chosen, READ)
    solved = solve(inputs).solved
    assert solved.mean() > 0.9
    agreed = smooth = 0
    for k, variable in enumerate(chosen):
        coarse, fine = central(inputs, variable, 1e-3)
        value = variable.value(inputs)
        assert value is not None
        size = np.abs(fine) + 1e-6 * np.abs(exact.values) / value[:, None]
        even = (
            np.abs(fine - coarse) <= 1e-7 * size
        )  # else a kink lies within the step: fuel or a mineral goes out
        good = np.abs(exact.slopes[:, k] - fine) <= AGREE * size
        smooth += even[solved].sum()
        agreed += (even & good)[solved].sum()
    assert smooth > 0.9 * solved.sum() * len(READ) * len(RANDOM)
    assert agreed == smooth


@pytest.mark.parametrize("name", ["skerry_point", "gannet_rock", "brae_fell"])
def test_every_setting_on_every_reading_of_a_case(name: str) -> None:
    assert _disagreeing(name, every=1) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", ["marram_sound", "thrift_ness"])
def test_settings_of_a_whole_plant_on_every_reading(name: str) -> None:
    assert _disagreeing(name, every=9) == []


def _disagreeing(name: str, every: int) -> list[tuple[str, str, float, float, float]]:
    """Derivatives that lie outside what differences on either side, and both, say."""
    inputs = load_case(CASES / f"{name}.toml").inputs
    present = dict(inputs.arrays())
    chosen = [v for v in variables(inputs).values() if v.path in present][::every]
    base = solve(inputs)
    assert base.solved.all()
    keys = [key for key in registry.keys(base) if not key.startswith("balance.")]
    exact = tangent(inputs, chosen, keys)
    sides = differences(inputs, chosen, keys, relative=1e-4)
    units = [registry.find(key)[0].unit_for(base) for key in keys]
    scale = {u: max(abs(x) for x, w in zip(exact.values[0], units, strict=True) if w == u) for u in units}
    wrong = []
    for v, variable in enumerate(chosen):
        value = float(present[variable.path][0])
        for r, key in enumerate(keys):
            slope, below, above = exact.slopes[0, v, r], sides.below[v, r], sides.above[v, r]
            there = [side for side in (below, above) if np.isfinite(side)]
            if not there:
                continue
            # One-sided differences enclose the derivative up to their own curvature and what is left open of a
            # balance, of the greatest reading in the same unit, over a step of 1e-4: round-off, and where
            # something goes back the last pass.
            left_open = 1e-11 if base.recycle is not None else 1e-13
            noise = left_open / 1e-4 * scale[units[r]] / (abs(value) or 1e-2)
            room = np.ptp(there) + 2e-3 * abs(slope) + noise
            if not min(there) - room <= slope <= max(there) + room:
                wrong.append((variable.key, key, float(slope), below, above))
    return wrong


def test_a_setting_without_a_number_is_refused() -> None:
    inputs = load_case(CASES / "skerry_point.toml").inputs
    with pytest.raises(ValueError, match="holds no number"):
        tangent(inputs, [find(inputs, "smelting.slag_magnetite")], READ)


def test_a_scenario_without_an_answer_has_no_slope_and_leaves_the_others() -> None:
    inputs = random_plants(4, seed=2)
    spoilt = inputs.replace("smelting.matte_grade", np.array([0.6, 0.9, 0.65, 0.6]))
    found = tangent(spoilt, [find(inputs, "smelting.fe_sio2")], READ)
    assert np.isnan(found.slopes[1]).all()
    assert np.isfinite(found.slopes[[0, 2, 3]]).all()


@pytest.mark.parametrize("name", ["skerry_point", "gannet_rock"])
def test_a_rate_beside_that_of_the_whole_blend_has_the_slope_it_has_alone(name: str) -> None:
    """One moves the other's number; each row of the derivatives moves one of them only."""
    inputs = load_case(CASES / f"{name}.toml").inputs
    rates = [
        v for v in variables(inputs).values() if v.key.endswith((".rate", ".share")) and held_in(inputs, v)
    ]
    both = [*rates, blend_rate(inputs), find(inputs, "smelting.enrichment")]
    for order in (both, both[::-1]):
        together = tangent(inputs, order, READ[:2]).slopes[0]
        alone = np.stack([tangent(inputs, [v], READ[:2]).slopes[0, 0] for v in order])
        assert together == pytest.approx(alone, rel=1e-12)
        sides = differences(inputs, order, READ[:2])
        single = [differences(inputs, [v], READ[:2]).above[0] for v in order]
        assert sides.above == pytest.approx(np.stack(single), rel=1e-6)


def held_in(inputs: Inputs, variable: Variable) -> bool:
    value = variable.value(inputs)
    return value is not None and float(value[0]) != 0.0
