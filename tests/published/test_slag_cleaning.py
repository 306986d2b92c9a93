"""The electric furnace against hand algebra, plant windows and NASA polynomials."""

from __future__ import annotations

import functools

import cantera as ct
import numpy as np
import pytest
from checks import Check, listing
from slags import COKE, SITE, SMELTING_SLAG, melt

from pyrobal.constants import R
from pyrobal.plant.slag_cleaning import SlagCleaningResult, SlagCleaningSettings, solve
from pyrobal.plant.slag_cleaning.melt import Constants
from pyrobal.streams.fuel import Fuel, FuelSettings, fuel

TOPIC = "Slag cleaning"
DAVENPORT = (
    "Davenport, King, Schlesinger & Biswas 2002, Extractive Metallurgy of Copper, 4th ed.: 15 to 70 kWh/t"
)
DISCARD = "common practice: less than 1 % Cu in slag discarded by an electric furnace"
NASA = "NASA TM-4513 (McBride, Gordon & Reno 1993) as carried by cantera"
ALGEBRA = "own algebra, Fe3O4 + C = 3 FeO + CO, IUPAC 2021 atomic masses"
ONE = np.ones(1)
FE, OX, C = 55.845, 15.999, 12.011  # IUPAC 2021 abridged, g/mol


@functools.cache
def nasa(name: str) -> ct.SpeciesThermo:
    files = ("nasa_condensed.yaml", "nasa_gas.yaml")
    return next(s.thermo for f in files for s in ct.Species.list_from_file(f) if s.name == name)


def h(name: str, T: float) -> float:
    """J/mol, elements at 298.15 K as zero."""
    return float(nasa(name).h(T)) / 1e3


def g(name: str, T: float) -> float:
    """J/mol at T."""
    return float(nasa(name).h(T) - T * nasa(name).s(T)) / 1e3


def carbon() -> Fuel:
    """Graphite; its heating value is that of the other set, so both balances burn the same carbon."""
    burnt = h("C(gr)", 298.15) - h("CO2", 298.15)
    return fuel(FuelSettings(composition={"C": ONE}, heating_value=ONE * burnt / (C / 1e3)))


def reduced(magnetite: float) -> SlagCleaningResult:
    """A slag whose copper is all suspended, so carbon has nothing to take but the oxygen of magnetite."""
    s = SlagCleaningSettings(
        slag_magnetite=ONE * magnetite, slag_copper=0.005 * ONE, slag_entrained_copper=0.005 * ONE,
        slag_sulfur=0.001 * ONE, reductant_efficiency=ONE, reductant_to_co=ONE, heat_loss=4e6 * ONE,
        deportment={e: {"slag": ONE} for e in ("As", "Sb", "Bi", "Pb", "Zn", "Ni", "Co", "Mo")},
    )  # fmt: skip
    slag = melt(SMELTING_SLAG, Cu2O=0.0)
    return solve({"smelting_slag": slag}, SITE, s, carbon())


def carbon_check() -> Check:
    r = reduced(0.04)
    fed = 9.0 / sum({**SMELTING_SLAG, "Cu2O(l)": 0.0}.values())
    left = 0.04 * r.slag.mass()[0] / r.fed[0]
    by_hand = (fed - left) / (3 * FE + 4 * OX) * C * 1e3
    here = float(r.reductant[0] / r.fed[0]) * 1e3
    return Check(
        TOPIC,
        "carbon to bring 9 % magnetite down to 4 %",
        ALGEBRA,
        by_hand,
        here,
        "kg/t",
        1e-3 * by_hand,
        "exact",
    )


def heat_of_reduction_check() -> Check:
    """Power that each mole of magnetite more takes, carbon fed at 25 degC, CO at slag temperature."""
    some, more = reduced(0.06), reduced(0.03)
    T = float(some.slag.T[0])
    moles = float((more.reductant - some.reductant)[0]) / (C / 1e3)
    here = float((more.power - some.power)[0]) * 0.95 / moles / 1e3
    theirs = 3 * h("FeO(L)", T) + h("CO", T) - h("Fe3O4(s)", T) - h("C(gr)", 298.15)
    why = "FeO in silicate slag is taken from fayalite melts, 3.5 kJ/mol above the pure liquid of the tables"
    return Check(
        TOPIC, "heat of Fe3O4 + C = 3 FeO + CO at 1250 degC", NASA, theirs / 1e3, here, "kJ/mol", 15.0, why
    )


def equilibrium_checks() -> list[Check]:
    T = 1523.15
    k = Constants.at(np.array([T]))
    rt = R * T * np.log(10.0)
    metal = (2 * g("Cu(L)", T) + 0.5 * g("O2", T) - g("Cu2O(L)", T)) / rt
    magnetite = (3 * g("FeO(L)", T) + 0.5 * g("O2", T) - g("Fe3O4(s)", T)) / rt
    why = "2 kJ/mol of Gibbs energy are 0.07 in log10 K"
    wider = "FeO melt and magnetite differ by up to 1.5 kJ/mol between the sets: 0.15 in log10 K"
    log10 = np.log(10.0)
    return [
        Check(TOPIC, "log10 K of 2 Cu + 1/2 O2 = Cu2O, 1250 degC", NASA, metal, float(k.metal[0] / log10), "-", 0.07, why),
        Check(TOPIC, "log10 K of 3 FeO + 1/2 O2 = Fe3O4, 1250 degC", NASA, magnetite, float(k.magnetite[0] / log10), "-", 0.15, wider),
    ]  # fmt: skip


def plant_checks() -> list[Check]:
    r = solve({"smelting_slag": melt(SMELTING_SLAG)}, SITE, SlagCleaningSettings(), COKE)
    power = float(r.power_per_mass[0]) / 3600.0
    copper = 100 * float((r.slag.element("Cu") * 0.063546 / r.slag.mass())[0])
    coke = 1e3 * float((r.reductant / r.fed)[0])
    return [
        Check(TOPIC, "power with the defaults, liquid slag", DAVENPORT, 42.5, power, "kWh/t", 27.5, "the range itself"),
        Check(TOPIC, "copper in the cleaned slag with the defaults", DISCARD, 0.5, copper, "wt%", 0.5, "the range itself"),
        Check(TOPIC, "coke with the defaults", "common practice, 3 to 10 kg/t", 6.5, coke, "kg/t", 3.5, "the range itself"),
    ]  # fmt: skip


def two_product_check() -> Check:
    """1.15 % Cu fed, a concentrate of 32.7 % and tailings of 0.18 %."""
    copper = 1.15 * 0.15916 / 0.12709  # as Cu2S
    slag = melt({"Cu2S(l)": copper, "SiO2(l)": 100.0 - copper})
    s = SlagCleaningSettings(kind="flotation", tailings_copper=0.0018 * ONE, concentrate_grade=0.327 * ONE)
    r = solve({"smelting_slag": slag}, SITE, s, COKE)
    source = "Wills, Mineral Processing Technology, two-product formula, worked example; from memory"
    return Check(TOPIC, "recovery of flotation from three assays", source, 84.8, 100 * float(r.recovery[0]), "%",
                 0.05, "printed to the last figure shown")  # fmt: skip


CHECKS = [
    two_product_check(),
    carbon_check(),
    heat_of_reduction_check(),
    *equilibrium_checks(),
    *plant_checks(),
]


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_published(check: Check) -> None:
    assert check.ok, str(check)


def test_listing(capsys: pytest.CaptureFixture[str]) -> None:
    print(listing(CHECKS))
    assert capsys.readouterr().out.count("\n") == len(CHECKS)
