"""Ash of a solid fuel goes to the slag, or leaves as dust, as the case says."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.errors import CaseError
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.smelting.matte import M_FE, M_FEO
from pyrobal.plant.smelting.settings import HEAT_CLOSURES
from pyrobal.streams.fuel import ASH, fuel
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import species
from pyrobal.thermo.solutions import KRESS_CARMICHAEL_TERMS

CASE = "cases/brae_fell.toml"
SILICA_OF_FLUX = 0.90 - 0.02 / 1.3  # of which its own iron takes a part, see the case
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
    unit = fuel(inputs.fuel["heavy_oil"])
    unnamed = to_slag * s.heat.fuel * unit.ash_unnamed
    assert s.slag.element("Rest") == pytest.approx(brought + unnamed, rel=1e-9)
    masses = unit.ash @ species(*ASH).molar_mass + unit.ash_unnamed * species("Rest(slag)").molar_mass
    assert masses == pytest.approx(0.15, rel=1e-12)  # of a kilogram of coal
    for element in ("Si", "Al", "Ca"):  # nothing else of them is moved by the fuel
        i = ELEMENTS.index(element)
        fed = sum(s.ledger.inputs[name].elements[:, i] for name in ("charge", "silica_flux", "fuel"))
        assert s.slag.element(element) == pytest.approx(fed, rel=1e-9)


def test_all_of_it_by_default_and_it_dilutes_the_slag() -> None:
    r = solve(_coal_fired("nothing").replace("smelting.fuel_minimum", np.array([1e6, 30e6])))
    assert r.smelting.dust.element("Rest") == pytest.approx([0.0, 0.0], abs=1e-12)
    slag, copper = r.smelting.slag.mass(), r.smelting.slag.element("Cu")
    assert slag[1] > slag[0] and copper[1] > copper[0]  # more slag takes more copper with it


def test_flux_follows_what_the_ash_is_made_of() -> None:
    silica, iron = (
        [f"fuel.heavy_oil.ash_{oxide}={100 if oxide == alone else 0} %" for oxide in ("SiO2", "Al2O3", "CaO", "FeO")]
        for alone in ("SiO2", "FeO")
    )  # fmt: skip
    target = "smelting.fe_sio2=1.3"
    flux, made = {}, {}
    for name, ash in (("usual", []), ("silica", silica), ("iron", iron)):
        s = solve(_coal_fired("nothing", target, *ash)).smelting
        assert np.abs(s.ledger.element_closure()).max() < 1e-9
        assert np.abs(s.ledger.heat_closure()).max() < 1e-9
        assert s.melt.fe_sio2 == pytest.approx(1.3, rel=1e-8)
        flux[name], made[name] = float(s.silica_flux[0]), float(s.heat.fuel[0]) * 0.15
    assert flux["silica"] < flux["usual"] < flux["iron"]
    # By hand, kg/s: ash of silica replaces as much of the flux's own; the rest is iron and silica that follow more slag.
    apart = flux["iron"] - flux["silica"]
    by_hand = made["iron"] * (M_FE / M_FEO / 1.3) + made["silica"]
    assert apart * SILICA_OF_FLUX == pytest.approx(by_hand, rel=0.05)


def test_kress_carmichael_sees_its_lime() -> None:
    pure = [f"fuel.heavy_oil.ash_{oxide}=0 %" for oxide in ("SiO2", "Al2O3", "FeO")]
    s = solve(
        _coal_fired(
            "nothing", "smelting.slag_magnetite_model=kress_carmichael", *pure, "fuel.heavy_oil.ash_CaO=100 %"
        )
    ).smelting
    terms = s.slag.n @ np.array(
        [KRESS_CARMICHAEL_TERMS.get(n.partition("(")[0], 0.0) for n in s.slag.phase.names]
    )
    assert s.melt.supply.ferric_terms == pytest.approx(terms, rel=1e-9)
    assert s.melt.supply.lime == pytest.approx(s.slag.amount("CaO(slag)") * 0.056077, rel=1e-4)


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        (["fuel.heavy_oil.ash_SiO2=80 %"], "fuel.heavy_oil.*ash.*123 wt%.*100"),
        (["fuel.heavy_oil.ash_SiO2=120 %"], "too high"),
        (["fuel.heavy_oil.ash_CaO=-2 %"], "negative"),
        (["fuel.heavy_oil.ash_CaO=2 t/h"], "t/h"),
        (["fuel.heavy_oil.ash_SiO=20 %"], "ash_SiO2"),
    ],
)
def test_bad_ash(settings: list[str], said: str) -> None:
    with pytest.raises(CaseError, match=said):
        _coal_fired("nothing", *settings)


def test_ash_of_a_fuel_without_any_is_a_caution() -> None:
    case = load_case("cases/skerry_point.toml", ["fuel.natural_gas.ash_SiO2=20 %"])
    assert any(c.key == "fuel.natural_gas.ash_SiO2" and "no ash" in c.text for c in case.cautions)


@pytest.mark.parametrize(("value", "said"), [("120 %", "too high"), ("-5 %", "negative"), ("3 kg", "%")])
def test_bad_values(value: str, said: str) -> None:
    with pytest.raises(CaseError, match=rf"fuel_ash_to_slag.*{said}"):
        load_case(CASE, [f"smelting.fuel_ash_to_slag={value}"])
