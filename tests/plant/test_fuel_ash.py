"""Ash of a solid fuel goes to the slag, or leaves as dust, as the case says."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.errors import CaseError
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.smelting.settings import HEAT_CLOSURES
from pyrobal.streams.fuel import fuel
from pyrobal.thermo.elements import ELEMENTS

CASE = "cases/brae_fell.toml"
COAL = ("C=70", "H=4.5", "O=8", "N=1.5", "S=1", "ash=15")


def _coal_fired(mode: str, *more: str) -> Inputs:
    changes = ["smelting.fuel=heavy_oil", *(f"fuel.heavy_oil.{part}" for part in COAL), "smelting.dust=0 %"]
    changes += ["fuel.heavy_oil.heating_value=27 MJ/kg", "smelting.fuel_minimum=28 MW"]
    return load_case(CASE, [*changes, f"smelting.close_heat_with={mode}", *more]).inputs


@pytest.mark.parametrize("mode", HEAT_CLOSURES)
def test_it_goes_where_it_is_told_and_everything_closes(mode: str) -> None:
    inputs = _coal_fired(mode, "smelting.fe_sio2=1.3")
    to_slag = np.array([0.0, 0.4, 1.0])
    r = solve(inputs.replace("smelting.fuel_ash_to_slag", to_slag))
    s = r.smelting
    assert r.solved.all()
    assert np.abs(s.ledger.element_closure()).max() < 1e-9
    assert np.abs(s.ledger.heat_closure()).max() < 1e-9
    ash = s.heat.fuel * fuel(inputs.fuel["heavy_oil"]).count("Rest")
    assert (ash > 0).all()
    assert s.dust.element("Rest") == pytest.approx((1 - to_slag) * ash, rel=1e-9, abs=1e-12)
    fed = (s.ledger.inputs[name].elements for name in ("charge", "silica_flux"))
    brought = sum(x[:, ELEMENTS.index("Rest")] for x in fed)
    assert s.slag.element("Rest") == pytest.approx(brought + to_slag * ash, rel=1e-9)


def test_all_of_it_by_default_and_it_dilutes_the_slag() -> None:
    r = solve(_coal_fired("nothing").replace("smelting.fuel_minimum", np.array([1e6, 30e6])))
    assert r.smelting.dust.element("Rest") == pytest.approx([0.0, 0.0], abs=1e-12)
    slag, copper = r.smelting.slag.mass(), r.smelting.slag.element("Cu")
    assert slag[1] > slag[0] and copper[1] > copper[0]  # more slag takes more copper with it


@pytest.mark.parametrize(("value", "said"), [("120 %", "too high"), ("-5 %", "negative"), ("3 kg", "%")])
def test_bad_values(value: str, said: str) -> None:
    with pytest.raises(CaseError, match=rf"fuel_ash_to_slag.*{said}"):
        load_case(CASE, [f"smelting.fuel_ash_to_slag={value}"])
