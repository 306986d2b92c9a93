"""Air drawn in on the bath side takes the furnace's heat; behind the uptake it only cools the gas."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.constants import MW
from pyrobal.errors import CaseError
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.smelting.settings import HEAT_CLOSURES, LEAKS

CASE = "cases/skerry_point.toml"
SHARES = np.array([0.0, 0.05, 0.4])


def _leaking(enters: str, mode: str = "nothing", more: str = "") -> Results:
    with open(CASE) as file:
        inputs = load_case(file.read() + more, [f"smelting.in_leakage_enters={enters}"]).inputs
    s = dataclasses.replace(inputs.smelting, close_heat_with=mode, air_in_leakage=SHARES)
    return solve(dataclasses.replace(inputs, smelting=s))


@pytest.mark.parametrize("mode", HEAT_CLOSURES)
@pytest.mark.parametrize("enters", LEAKS)
def test_everything_closes(enters: str, mode: str) -> None:
    r = _leaking(enters, mode)
    assert r.solved.sum() >= 2
    for ledger in (r.smelting.ledger, r.ledger):
        assert np.abs(ledger.element_closure()[r.solved]).max() < 1e-9
        assert np.abs(ledger.heat_closure()[r.solved]).max() < 1e-9


def test_a_leak_found_from_the_gas_moves_the_heat_only_on_the_bath_side() -> None:
    bath, behind = (_leaking(enters).smelting for enters in LEAKS)
    assert np.ptp(bath.heat.surplus) > 5 * MW
    assert np.ptp(behind.heat.surplus) < 1e-6
    assert behind.gas.n == pytest.approx(bath.gas.n, rel=1e-12, abs=1e-9)
    assert np.ptp(bath.gas.T) == 0.0
    assert (np.diff(behind.gas.T) < 0).all() and behind.gas.T[0] == pytest.approx(bath.gas.T[0], abs=1e-6)


def test_the_heat_of_the_gas_is_the_same_once_it_is_behind_the_uptake() -> None:
    """What the furnace does not give, the gas does: both differ by the heat of the leak, no more."""
    bath, behind = (_leaking(enters).smelting for enters in LEAKS)
    lost = bath.gas.enthalpy() - behind.gas.enthalpy()
    assert lost == pytest.approx(behind.heat.surplus - bath.heat.surplus, rel=1e-9, abs=1e-3)


def test_the_gas_train_takes_the_colder_gas() -> None:
    r = _leaking("after_uptake", "fuel", "\n[gas_train]\n[acid_plant]\n")
    assert r.solved.all()
    assert np.abs(r.ledger.element_closure()).max() < 1e-9
    assert np.abs(r.ledger.heat_closure()).max() < 1e-9


def test_a_place_that_is_not_offered() -> None:
    with pytest.raises(CaseError, match=r"in_leakage_enters.*after_uptake"):
        load_case(CASE, ["smelting.in_leakage_enters=after_uptak"])
