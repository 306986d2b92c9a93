"""Steam, dew points, solubility and the pieces of the gas train against sources outside the project."""

from __future__ import annotations

import functools
import json
from pathlib import Path

import cantera as ct
import numpy as np
import pytest
import thermo
from checks import Check, listing
from chemicals import Psat_IAPWS
from off_gases import alone, one, stream
from scipy.optimize import brentq

from pyrobal.constants import NM3, celsius
from pyrobal.plant.gas_train import GasLineSettings, GasTrainSettings, Source, solve
from pyrobal.plant.gas_train.offgas import Offgas
from pyrobal.plant.gas_train.wet import Quench, quench
from pyrobal.streams.site import SiteSettings, vapour_pressure
from pyrobal.streams.stream import Stream
from pyrobal.thermo.dew_point import MMHG, okkes, verhoff_banchero
from pyrobal.thermo.henry import so2_solubility
from pyrobal.thermo.properties import species
from pyrobal.thermo.water import liquid_enthalpy, saturation_temperature, steam_enthalpy

IF97 = "IAPWS R7-97(2012)"
STEAM, DEW, GAS = "Steam", "Acid dew point", "Gas train"
BHATT = "Bhatt & Thakore, Stoichiometry 5th ed., example 5.20, p. 247"
KG_PER_KMOL_WATER = 18.01528


def at(*values: float) -> tuple[np.ndarray, ...]:
    return tuple(np.array([v]) for v in values)


def if97() -> list[Check]:
    """Check values printed in the release, in kJ/kg and K; tolerance half the last digit printed."""
    found = []
    for T, p, h in ((300.0, 3.0, 115.331273), (300.0, 80.0, 184.142828), (500.0, 3.0, 975.542239)):
        ours = one(liquid_enthalpy(*at(T, p * 1e6))) / 1e3
        found.append(
            Check(
                STEAM, f"liquid at {T:g} K, {p:g} MPa", f"{IF97}, table 5", h, ours, "kJ/kg", 1e-6, "printed"
            )
        )
    for T, p, h in ((300.0, 0.0035, 2549.91145), (700.0, 0.0035, 3335.68375), (700.0, 30.0, 2631.49474)):
        ours = one(steam_enthalpy(*at(T, p * 1e6))) / 1e3
        found.append(
            Check(
                STEAM, f"steam at {T:g} K, {p:g} MPa", f"{IF97}, table 15", h, ours, "kJ/kg", 1e-5, "printed"
            )
        )
    for p, T in ((0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)):
        ours = one(saturation_temperature(*at(p * 1e6)))
        found.append(
            Check(STEAM, f"boiling at {p:g} MPa", f"{IF97}, table 36", T, ours, "K", 1e-6, "printed")
        )
    return found


def vapour_pressures() -> list[Check]:
    source, why = "Wagner & Pruss, as in chemicals.Psat_IAPWS (IF97)", "two IAPWS equations, 0.02 % apart"
    return [
        Check(STEAM, f"vapour pressure at {t:g} degC", source, Psat_IAPWS(celsius(t)),
              one(vapour_pressure(*at(celsius(t)))), "Pa", 3e-4 * Psat_IAPWS(celsius(t)), why)
        for t in (5.0, 20.0, 35.0, 60.0, 90.0)
    ]  # fmt: skip


def dew_points() -> list[Check]:
    why = "the sheet prints 1000 / T to eight digits; this is the same equation"
    found = [
        Check(DEW, "Verhoff & Banchero, 38.11 mmHg H2O, 9.7421e-4 mmHg SO3", "Verhoff & Banchero 1974, Chem. Eng. Prog. 70(8), 71-72, in a worked design sheet",
              383.525, one(verhoff_banchero(*at(38.1103549 * MMHG, 0.00097421 * MMHG))), "K", 0.001, why),
        Check(DEW, "Verhoff & Banchero, 93.44 mmHg H2O, 2.4917e-3 mmHg SO3", "Verhoff & Banchero 1974, Chem. Eng. Prog. 70(8), 71-72, in a worked sheet",
              402.0, one(verhoff_banchero(*at(93.44 * MMHG, 0.0024917 * MMHG))), "K", 0.5, "printed to the degree"),
    ]  # fmt: skip
    other = "the same authors' form in atm and log10 (coefficients from memory)"
    for w, a in ((0.1, 1e-5), (0.05, 1e-3), (0.1, 1e-2)):
        lw, la = np.log10(w), np.log10(a)
        T = 1000 / (1.7842 + 0.0269 * lw - 0.1029 * la + 0.0329 * lw * la)
        ours = one(verhoff_banchero(*at(w * 101325, a * 101325)))
        found.append(Check(DEW, f"Verhoff & Banchero, {w:g} atm H2O, {a:g} atm SO3", other, T, ours, "K", 0.6,
                           "four digits printed of each coefficient"))  # fmt: skip
    for w, a, t in ((0.1, 1e-4, 152.6), (0.1, 1e-5, 133.9)):
        ours = one(okkes(*at(w * 101325, a * 101325))) - 273.15
        found.append(Check(DEW, f"Okkes, {w:g} atm H2O, {a:g} atm SO3",
                           "Haase & Borgmann 1961, 255 + 27.6 log pw + 18.7 log pa (from memory)", t, ours, "degC", 6.0,
                           "two correlations of flue gas data"))  # fmt: skip
    return found


def henry() -> list[Check]:
    """Mole-fraction Henry constants of two compilations carried by ``thermo``: ln(H / Pa) = A + B/T + C ln T."""
    folder = Path(thermo.__file__).parent / "Interaction Parameters"
    found = []
    for name, file in (("Sander 2015", "Sander_henry_T_dep.json"), ("ChemSep", "ChemSep/henry.json")):
        k = json.loads((folder / file).read_text())["data"]["7446-09-5 7732-18-5"]
        for t in (25.0, 40.0, 60.0):
            T = celsius(t)
            theirs = 55_300.0 / np.exp(k["A"] + k["B"] / T + k["C"] * np.log(T))
            found.append(Check(GAS, f"SO2 in water at {t:g} degC", f"{name}, as carried by thermo", theirs,
                               one(so2_solubility(*at(T))), "mol/(m3 Pa)", 0.12 * theirs,
                               "compiled values of one constant run over 20 %"))  # fmt: skip
    return found


def boiler() -> list[Check]:
    """200 kg/h sulfur burnt with 10 % excess air, the gas cooled from 1144.15 to 463.15 K, 10 % of it lost.

    The heat gained per kg is printed as 15 x 4.1868 + 1945.2: feedwater 15 K below boiling, and the latent
    heat at 15 bar.
    """
    so2 = 200.0 / 32.0 / 3.6  # mol/s; the book counts sulfur as 32
    air = 1.1 * so2 / 0.21
    gas = stream({"SO2(g)": so2, "O2(g)": 0.1 * so2, "N2(g)": 0.79 * air}, 1144.15)
    p = np.array([15e5])
    boiling = saturation_temperature(p)
    r = alone(gas, cooler_loss=0.10, cooler_temperature=463.15, steam_pressure=15e5,
              feedwater_temperature=boiling[0] - 15.0)  # fmt: skip
    cooler = r.lines["furnace"].cooler
    latent = one(steam_enthalpy(boiling, p) - liquid_enthalpy(boiling, p)) / 1e3
    return [
        Check(GAS, "duty of the boiler", BHATT, 788_852.2, one(cooler.heat) * 3.6, "kJ/h", 0.002 * 788_852,
              "heat capacities of the book; by NASA TM-4513 (cantera) it is 788,291"),
        Check(GAS, "latent heat at 15 bar", BHATT, 1945.2, latent, "kJ/kg", 2.0, "older steam tables"),
        Check(GAS, "steam of the boiler", BHATT, 353.57, one(cooler.steam) * 3600, "kg/h", 0.005 * 353.57,
              "feedwater takes 4.46, not 4.1868 kJ/(kg K), at 190 degC"),
    ]  # fmt: skip


@functools.lru_cache
def nasa() -> dict[str, ct.Species]:
    files = ("nasa_gas.yaml", "nasa_condensed.yaml")
    return {s.name: s for file in files for s in ct.Species.list_from_file(file)}


def nasa_saturation(gas: dict[str, float], T: float, T_water: float, p: float) -> tuple[float, float]:
    """Temperature [K] and water evaporated [kmol] at adiabatic saturation; NASA enthalpies, IAPWS vapour pressure.

    gas : kmol; no SO2 dissolves.
    """

    def h(name: str, T: float) -> float:
        return float(nasa()[name].thermo.h(T))

    dry = sum(n for name, n in gas.items() if name != "H2O")

    def evaporated(T: float) -> float:
        y = Psat_IAPWS(T) / p
        return dry * y / (1 - y) - gas["H2O"]

    def surplus(T_end: float) -> float:
        into = sum(n * h(name, T) for name, n in gas.items()) + evaporated(T_end) * h("H2O(L)", T_water)
        out = sum(n * h(name, T_end) for name, n in gas.items()) + evaporated(T_end) * h("H2O", T_end)
        return into - out

    T_end = brentq(surplus, 290.0, 360.0, xtol=1e-9)
    return T_end, evaporated(T_end)


def our_quench(gas: dict[str, float], T: float, T_water: float, p: float, **wet: float) -> Quench:
    settings = GasTrainSettings(
        suction=np.zeros(1), wash_water_temperature=np.array([T_water]), so2_stripping=np.ones(1),
        **{k: np.array([v]) for k, v in wet.items()},
    )  # fmt: skip
    flow = stream({f"{name}(g)": n for name, n in gas.items()}, T)
    dust = Stream(species("SiO2", "H2SO4(l)"), np.zeros((1, 2)), flow.T)
    return quench(Offgas(flow, dust), settings, SiteSettings(pressure=np.array([p])))


GASES = {
    "converter gas": ({"SO2": 10.0, "O2": 12.0, "N2": 73.0, "H2O": 5.0}, 350.0),
    "furnace gas": ({"SO2": 30.0, "O2": 5.0, "N2": 60.0, "H2O": 5.0}, 350.0),
    "lean dry gas": ({"SO2": 7.0, "O2": 13.0, "N2": 78.0, "H2O": 2.0}, 350.0),
}


def saturation() -> list[Check]:
    found, p, T_water = [], 98_000.0, celsius(25)
    source = "independent balance: NASA TM-4513 enthalpies (cantera), IAPWS vapour pressure"
    for name, (gas, t) in GASES.items():
        T_end, water = nasa_saturation(gas, celsius(t), T_water, p)
        ours = our_quench(gas, celsius(t), T_water, p)
        per_1000 = 1000 * NM3 / sum(gas.values()) * KG_PER_KMOL_WATER / 1000
        found += [
            Check(GAS, f"adiabatic saturation of {name}, {t:g} degC", source, T_end - 273.15,
                  one(ours.outlet.T) - 273.15, "degC", 0.02, "two sets of enthalpies"),
            Check(GAS, f"water {name} evaporates", source, water * per_1000, one(ours.evaporated) * per_1000,
                  "kg/1000 Nm3", 0.2, "two sets of enthalpies"),
        ]  # fmt: skip
    return found


def wet_bulb() -> list[Check]:
    """Air of a given wet bulb saturates at that temperature, where the water is as warm."""
    found = []
    source = (
        "ASHRAE Handbook, Fundamentals, psychrometrics: humidity from the wet bulb (equation from memory)"
    )
    for t, t_wet in ((60.0, 30.0), (40.0, 25.0)):
        p = 101_325.0
        saturated = 0.621945 * Psat_IAPWS(celsius(t_wet)) / (p - Psat_IAPWS(celsius(t_wet)))
        humidity = ((2501 - 2.326 * t_wet) * saturated - 1.006 * (t - t_wet)) / (
            2501 + 1.86 * t - 4.186 * t_wet
        )
        mole_ratio = humidity / 0.621945
        gas = {"O2": 0.21, "N2": 0.78, "Ar": 0.01, "H2O": mole_ratio, "SO2": 0.0}
        ours = our_quench(gas, celsius(t), celsius(t_wet), p, cooled_gas_temperature=celsius(60))
        found.append(Check(GAS, f"wet bulb of air at {t:g} degC", source, t_wet, one(ours.outlet.T) - 273.15, "degC", 0.1,
                           "constant heat capacities and steam-table latent heat"))  # fmt: skip
    return found


def hood() -> list[Check]:
    """Gas of the slag and the copper blow with all oxygen used, as much air drawn in as there is gas."""
    found = []
    dry = SiteSettings(relative_humidity=np.zeros(1))
    for blow, so2, n2, before, after in (
        ("slag", 14.0, 79.0, 15.05, 7.5),
        ("copper", 21.0, 79.0, 21.0, 10.5),
    ):
        gas = stream({"SO2(g)": so2, "N2(g)": n2}, 1500.0)
        line = GasLineSettings(hood_air=np.ones(1))
        r = solve({"furnace": Source(gas)}, {"furnace": line}, GasTrainSettings(), dry)
        for point, value in (("furnace", before), ("furnace.hood", after)):
            there = r.points[point]
            share = 100 * one(there.offgas.gas.amount("SO2(g)") / there.flow_wet)
            source = "NPTEL course 113104060, lecture 33 (15 and 21 %); halved by an equal volume of air"
            found.append(
                Check(
                    GAS, f"SO2 of the {blow} blow at {point}", source, value, share, "vol%", 0.05, "printed"
                )
            )
    return found


CHECKS = [
    *if97(), *vapour_pressures(), *dew_points(), *henry(), *boiler(), *saturation(), *wet_bulb(), *hood(),
]  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_against_source(check: Check) -> None:
    assert check.ok, str(check)


def test_listing(capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        print("\n" + listing(CHECKS))
