"""Copper and magnetite lost with the smelting slag, and how they move with the matte grade."""

from __future__ import annotations

import numpy as np
import pytest
from plants import ORDINARY, plant

from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.readings.practice import USUAL_GRADES, USUAL_SLAG
from pyrobal.readings.registry import evaluate

GRADES = np.array(USUAL_GRADES)


def furnace(**settings: object) -> Results:
    return solve(plant(ORDINARY, close_heat_with="nothing", **{"matte_grade": GRADES, **settings}))


@pytest.mark.parametrize("what", ["copper", "magnetite"])
def test_defaults_fitted_to_common_practice_stand_within_it(what: str) -> None:
    found = evaluate(furnace(), f"smelting.slag.{what}")
    low, high = (np.array(ends) for ends in USUAL_SLAG[what])
    assert np.all((found >= low) & (found <= high)), 100 * found


def test_copper_rises_steeply_with_grade() -> None:
    copper = evaluate(furnace(), "smelting.slag.copper")
    assert copper[3] / copper[0] > 1.8
    assert np.all(np.diff(copper, 2) > 0)


def test_suspended_matte_carries_the_grade_of_the_matte() -> None:
    none, some = furnace(slag_entrained_matte=0.0), furnace(slag_entrained_matte=0.02)
    m = some.smelting.melt
    suspended = 2 * m.cu2s * m.entrained * 0.063546
    assert np.allclose(suspended / m.slag_mass, 0.02 * GRADES, rtol=1e-9)
    gained = evaluate(some, "smelting.slag.copper") - evaluate(none, "smelting.slag.copper")
    assert np.allclose(gained, 0.02 * GRADES, rtol=0.1)


def test_copper_in_suspension_may_be_given_instead() -> None:
    by_copper = furnace(slag_entrained_copper=0.008 * GRADES)
    assert np.allclose(
        evaluate(by_copper, "smelting.slag.copper"), evaluate(furnace(), "smelting.slag.copper"), rtol=1e-7
    )


def test_an_assay_of_the_slag_bounds_what_is_suspended() -> None:
    r = furnace(slag_copper=0.003)  # less than 0.8 % of matte would carry
    assert np.allclose(evaluate(r, "smelting.slag.copper"), 0.003, rtol=1e-9)
    assert np.all(r.smelting.melt.cu2o == 0.0)


@pytest.mark.parametrize("model", ["nagamori", "goto"])
def test_factors_stand_on_the_local_equilibrium(model: str) -> None:
    one, two = (
        furnace(oxidic_copper_over_equilibrium=x, slag_copper_model=model, slag_magnetite=0.1)
        for x in (1.0, 2.0)
    )
    assert np.allclose(two.smelting.melt.cu2o / one.smelting.melt.cu2o, 2.0, rtol=0.04)
    one, two = (furnace(slag_sulfur_over_equilibrium=x, slag_magnetite=0.1) for x in (1.0, 2.0))
    assert np.allclose(two.smelting.melt.slag_fes / one.smelting.melt.slag_fes, 2.0, rtol=0.04)
