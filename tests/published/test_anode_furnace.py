"""Fire refining against stoichiometry, an independent heat balance and common practice."""

from __future__ import annotations

import functools

import cantera as ct
import numpy as np
import pytest
from checks import Check, listing
from slags import BLISTER, GAS, SITE, melt

from pyrobal.constants import NM3
from pyrobal.plant.anode_furnace import AnodeFurnaceResult, AnodeFurnaceSettings, solve
from pyrobal.streams.fuel import FuelSettings, fuel
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

TOPIC = "Anode furnace"
NASA = "NASA TM-4513 (McBride, Gordon & Reno 1993) as carried by cantera"
SURVEY = "survey ranges as remembered from Davenport, King, Schlesinger & Biswas (from memory): 4 to 8 Nm3/t"
REFINED = "Schlesinger et al., Extractive Metallurgy of Copper, 6th ed., fire refining, abstract: 0.003 % S, 0.16 % O"
ONE = np.ones(1)
METHANE = fuel(FuelSettings(composition={"CH4": ONE}))
PURE = {"Cu(l)": 99.5, "Cu2O(l)": 4.5}
DRY = SiteSettings(relative_humidity=np.zeros(1))

# Ours -> theirs
SPECIES = {
    "O2(g)": "O2", "N2(g)": "N2", "Ar(g)": "Ar", "CO2(g)": "CO2", "H2O(g)": "H2O", "CO(g)": "CO", "H2(g)": "H2",
    "C": "C(gr)", "Cu(l)": "Cu(L)", "Cu2O(l)": "Cu2O(L)", "Cu": "Cu(cr)",
}  # fmt: skip


@functools.cache
def nasa(name: str) -> ct.SpeciesThermo:
    files = ("nasa_condensed.yaml", "nasa_gas.yaml")
    return next(s.thermo for f in files for s in ct.Species.list_from_file(f) if s.name == name)


def theirs(stream: Stream, T: float | None = None) -> float:
    """Enthalpy [W] of a stream by the other set; every species in it must be there."""
    at = float(stream.T[0]) if T is None else T
    held = zip(stream.phase.names, stream.n[0], strict=True)
    return sum(float(n) * float(nasa(SPECIES[name]).h(at)) / 1e3 for name, n in held if n != 0.0)


def deoxidised(to_co: float) -> float:
    """Nm3 methane, all of it reacting, for the 4.5 kg O that a tonne loses from 6000 to 1500 ppm."""
    s = AnodeFurnaceSettings(
        oxygen_after_oxidation=0.006 * ONE,
        oxygen=0.0015 * ONE,
        reductant_efficiency=ONE,
        reductant_to_co=to_co * ONE,
    )
    r = solve(melt(PURE, T=1473.0), None, SITE, s, METHANE, METHANE)
    return float((r.reductant / NM3 / (r.refined.removed * 0.015999))[0]) * 4.5


def deoxidation_checks() -> list[Check]:
    stoichiometry = "4.5 kg O per tonne, {}, 15.999 g/mol, 22.414 m3/kmol"
    return [
        Check(
            TOPIC,
            f"methane from 6000 to 1500 ppm O, carbon to {product}",
            stoichiometry.format(equation),
            published,
            deoxidised(to_co),
            "Nm3/t",
            0.005,
            "three digits",
        )
        for product, equation, published, to_co in (
            ("CO", "CH4 + 3 O = CO + 2 H2O", 2.10, 1.0),
            ("CO2", "CH4 + 4 O = CO2 + 2 H2O", 1.58, 0.0),
        )
    ]


def plain_furnace() -> AnodeFurnaceResult:
    """Copper and its oxide, methane and dry air only, so that the other set holds every species."""
    s = AnodeFurnaceSettings(heat_loss=3e6 * ONE, hood_air=2.0 * ONE)
    return solve(melt(PURE, T=1430.0), None, DRY, s, METHANE, METHANE)


def fuel_by_the_other_set(r: AnodeFurnaceResult) -> float:
    """Burner methane [mol/s] that closes the heat with the enthalpies of the other set alone.

    Charge + oxidation air + reductant + burner = copper + gases at the mouth + loss.
    """
    s, T = r.settings, float(r.settings.gas_temperature[0])
    ch4 = float(nasa("CH4").h(298.15)) / 1e3
    # Gas at the mouth: what oxidation left of its air, and what the reductant rose as.
    air = dict(zip(r.oxidation_air.phase.names, r.oxidation_air.n[0], strict=True))
    air["O2(g)"] -= float(r.refined.taken_up[0]) / 2
    c = float(r.reductant[0])
    eff, to_co = float(s.reductant_efficiency[0]), float(s.reductant_to_co[0])
    risen = {"CO(g)": eff * to_co * c, "CO2(g)": eff * (1 - to_co) * c, "H2O(g)": 2 * eff * c, "H2(g)": 2 * (1 - eff) * c,
             "C": (1 - eff) * c}  # fmt: skip
    mouth = sum(
        n * float(nasa(SPECIES[name]).h(T)) / 1e3 for part in (air, risen) for name, n in part.items()
    )
    charge = melt(PURE, T=1430.0)
    need = theirs(r.copper) + mouth + 3e6 - theirs(charge) - theirs(r.oxidation_air) - c * ch4
    # One methane in the burner, with its dry air and excess.
    per = {
        name: float(n) / float(r.fuel[0])
        for name, n in zip(r.burner_air.phase.names, r.burner_air.n[0], strict=True)
    }
    cold = sum(n * float(nasa(SPECIES[name]).h(float(r.burner_air.T[0]))) / 1e3 for name, n in per.items())
    flue = per | {"O2(g)": per["O2(g)"] - 2.0, "CO2(g)": per["CO2(g)"] + 1.0, "H2O(g)": 2.0}
    hot = sum(n * float(nasa(SPECIES[name]).h(T)) / 1e3 for name, n in flue.items())
    return need / (ch4 + cold - hot)


def heat_checks() -> list[Check]:
    r = plain_furnace()
    tonnes = float(r.copper.mass()[0]) / 1e3
    here, there = (x / NM3 / tonnes for x in (float(r.fuel[0]), fuel_by_the_other_set(r)))
    cold = float(nasa("Cu(cr)").h(298.15)) / 1e3
    copper = (float(nasa("Cu(L)").h(1473.15)) / 1e3 - cold) / 63.546e-3 / 1e6
    one = species("Cu(l)")
    ours = float((one.enthalpy(np.array([1473.15])) - one.reference_enthalpy)[0, 0]) / 63.546e-3 / 1e6
    burnt = "1 % of the burner heat; cuprous oxide melt differs by up to 1.5 kJ/mol between the sets"
    return [
        Check(TOPIC, "burner methane that closes the heat, per tonne", NASA, there, here, "Nm3/t", 0.25, burnt),
        Check(TOPIC, "heat in copper at 1200 degC", NASA, copper, ours, "MJ/kg", 0.003, "two assessments of the melt"),
        Check(TOPIC, "enthalpy of the gas after the hood", NASA, theirs(r.gas) / 1e6, float(r.gas.enthalpy()[0]) / 1e6, "MW",
              0.003 * abs(theirs(r.gas)) / 1e6, "gas polynomials agree within 0.2 %"),
    ]  # fmt: skip


def practice_checks() -> list[Check]:
    s = AnodeFurnaceSettings()
    r = solve(melt(BLISTER, T=1480.0), None, SITE, s, GAS, GAS)
    copper = 100 * float((r.anodes.element("Cu") * 0.063546 / r.anodes.mass())[0])
    gas = float((r.reductant / NM3 / (r.copper.mass() / 1e3))[0])
    ours, own = "common practice, 350 to 420 kg", "the range itself"
    return [
        Check(TOPIC, "reduction gas with the defaults", SURVEY, 6.0, gas, "Nm3/t", 2.0, own),
        Check(TOPIC, "copper in the anodes", "common practice, 99 % and more", 99.5, copper, "wt%", 0.5, own),
        Check(TOPIC, "mass of an anode, default", ours, 385.0, float(s.anode_mass[0]), "kg", 35.0, own),
        Check(TOPIC, "sulfur in the anodes, default", REFINED, 0.003, 100 * float(s.sulfur[0]), "wt%", 5e-4, "rounding"),
        Check(TOPIC, "oxygen in the anodes, default", REFINED, 0.16, 100 * float(s.oxygen[0]), "wt%", 0.02, "about"),
    ]  # fmt: skip


CHECKS = [*deoxidation_checks(), *heat_checks(), *practice_checks()]


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_published(check: Check) -> None:
    assert check.ok, str(check)


def test_listing(capsys: pytest.CaptureFixture[str]) -> None:
    print(listing(CHECKS))
    assert capsys.readouterr().out.count("\n") == len(CHECKS)
