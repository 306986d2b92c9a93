"""Electrorefining against Faraday's law with constants from elsewhere, and common practice."""

from __future__ import annotations

import numpy as np
import pytest
from checks import Check, listing
from chemicals import MW
from scipy import constants
from slags import BLISTER, GAS, SITE, melt

from pyrobal.plant import anode_furnace
from pyrobal.plant.electrorefining import ElectrorefiningResult, ElectrorefiningSettings, solve

TOPIC = "Electrorefining"
EQUIVALENT = "electrochemical equivalent of Cu(II), 1.185 kg per kA h, handbook value from memory"
CODATA = "F of CODATA as carried by scipy.constants, molar mass as carried by chemicals"


def refined() -> ElectrorefiningResult:
    anodes = anode_furnace.solve(
        melt(BLISTER, T=1480.0), None, SITE, anode_furnace.AnodeFurnaceSettings(), GAS, GAS
    ).anodes
    return solve(anodes, ElectrorefiningSettings())


def checks() -> list[Check]:
    r = refined()
    efficiency, voltage = float(r.settings.current_efficiency[0]), float(r.settings.cell_voltage[0])
    deposited = float(r.cathode.element("Cu")[0]) * MW("7440-50-8") / 1e3  # kg/s
    per_hour = deposited * 3600 / (float(r.current[0]) / 1e3 * efficiency)
    by_hand = MW("7440-50-8") / (2 * constants.physical_constants["Faraday constant"][0]) * 3600
    direct = float(r.power[0] * r.settings.rectifier_efficiency[0]) / deposited / 3600.0
    energy = voltage / (by_hand * efficiency) * 1e3
    purity = 100 * float((r.cathode.element("Cu") * 0.063546 / r.cathode.mass())[0])
    use = float(r.energy_per_mass[0]) / 3600.0
    own = "the range itself"
    return [
        Check(TOPIC, "copper deposited by 1 kA h", EQUIVALENT, 1.185, per_hour, "kg", 0.001, "rounding"),
        Check(TOPIC, "the same", CODATA, by_hand, per_hour, "kg", 1e-5, "atomic mass of copper"),
        Check(
            TOPIC, "direct current energy at 0.30 V", CODATA, energy, direct, "kWh/t", 0.02, "same constants"
        ),
        Check(
            TOPIC,
            "energy with the defaults",
            "common practice, 250 to 350 kWh/t",
            300.0,
            use,
            "kWh/t",
            50.0,
            own,
        ),
        Check(
            TOPIC,
            "copper in the cathode",
            "common practice, 99.95 % or better",
            99.975,
            purity,
            "wt%",
            0.025,
            own,
        ),
    ]


CHECKS = checks()


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_published(check: Check) -> None:
    assert check.ok, str(check)


def test_listing(capsys: pytest.CaptureFixture[str]) -> None:
    print(listing(CHECKS))
    assert capsys.readouterr().out.count("\n") == len(CHECKS)


def test_faraday_at_another_efficiency() -> None:
    r = refined()
    s = ElectrorefiningSettings(current_efficiency=np.array([0.5]))
    half = solve(r.anodes, s)
    np.testing.assert_allclose(half.current / r.current, 0.95 / 0.5, rtol=1e-12)
