"""Oxygen blown for the fuel beyond what it burns with leaves unused, and takes heat with it."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.errors import CaseError
from pyrobal.flowsheet.solve import solve

CASE = "cases/brae_fell.toml"


@pytest.mark.parametrize("mode", ["fuel", "nothing", "cold_charge", "enrichment"])
def test_it_closes_and_leaves_with_the_gas(mode: str) -> None:
    inputs = load_case(CASE, [f"smelting.close_heat_with={mode}", "smelting.fuel_minimum=10 MW"]).inputs
    r = solve(inputs.replace("smelting.fuel_excess_air", np.array([0.0, 0.15])))
    solved = r.solved
    assert np.abs(r.smelting.ledger.element_closure()[solved]).max(initial=0.0) < 1e-9
    assert np.abs(r.smelting.ledger.heat_closure()[solved]).max(initial=0.0) < 1e-9
    if mode == "nothing":
        s = r.smelting
        fuel = s.heat.fuel * s.unit_fuel.oxygen
        of_charge = s.melt.oxygen_demand - s.melt.oxygen_reacted  # thinner SO2 moves it a little
        left = s.gas.amount("O2(g)") - s.leak.amount("O2(g)") - of_charge
        assert left == pytest.approx([0.0, 0.15 * float(fuel[0])], rel=1e-9, abs=1e-9)
        assert s.oxygen_for_fuel[1] == pytest.approx(1.15 * float(s.oxygen_for_fuel[0]), rel=1e-12)
        assert s.heat.surplus[1] < s.heat.surplus[0]


@pytest.mark.parametrize(("value", "said"), [("300 %", "too high"), ("-5 %", "negative"), ("3 kg", "%")])
def test_bad_values(value: str, said: str) -> None:
    with pytest.raises(CaseError, match=rf"fuel_excess_air.*{said}"):
        load_case(CASE, [f"smelting.fuel_excess_air={value}"])
