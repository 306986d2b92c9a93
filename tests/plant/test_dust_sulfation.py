"""Dust that comes back as sulfate takes heat: a furnace alone and the same furnace with its gas train agree."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.constants import MW, PERCENT
from pyrobal.errors import CaseError
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.gas_train.settings import GasLineSettings
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.readings.registry import evaluate

GAS = "\n[gas_train]\n[acid_plant]\n"


def _text(case: str, more: str = "") -> str:
    with open(f"cases/{case}.toml") as file:
        return file.read() + more


@pytest.mark.parametrize("case", ["skerry_point", "gannet_rock"])
def test_autogenous_enrichment_alone_and_with_the_gas_train(case: str) -> None:
    """The rest is vapour that condenses in the boiler and comes back with the dust."""
    alone, plant = (solve(load_case(_text(case, more)).inputs) for more in ("", GAS))
    found = [float(evaluate(r, "smelting.heat.autogenous_enrichment")[0]) for r in (alone, plant)]
    assert found[0] == pytest.approx(found[1], abs=0.5 * PERCENT)
    rates = [float(evaluate(r, "smelting.dust.rate")[0]) for r in (alone, plant)]
    assert rates[0] == pytest.approx(rates[1], rel=0.005)


def _surplus(share: float) -> Results:
    inputs = load_case(_text("skerry_point")).inputs
    s = dataclasses.replace(inputs.smelting, close_heat_with="nothing", dust_sulfation=np.array([share]))
    return solve(dataclasses.replace(inputs, smelting=s))


def test_the_heat_by_hand() -> None:
    """Standard enthalpies of CODATA 1989 and, for Cu2O, of the CRC Handbook; heat contents of SO2 and N2
    to 1350 degC of the NIST-JANAF tables; all from memory, kJ/mol."""
    oxide, sulfate = _surplus(0.0), _surplus(0.7)
    dust = oxide.smelting.dust
    copper = 0.7 * 2 * float(dust.amount("Cu2O")[0])
    apart = copper * (771.4 - 0.5 * 168.6 - 296.8) * 1e3
    others = 0.7 * sum(
        float(dust.amount(name)[0]) * heat * 1e3
        for name, heat in (("PbO", 919.9 - 219.4 - 296.8), ("ZnO", 982.8 - 350.5 - 296.8), ("CaO", 1434.5 - 634.9 - 296.8))
    )  # fmt: skip
    heated = copper * 68.0 * 1e3  # the SO2; the oxygen set free reacts, in place of as much blown in
    assert 2.5 * MW < apart < 3.1 * MW
    air, industrial = (
        float((getattr(oxide.smelting.heat, name) - getattr(sulfate.smelting.heat, name))[0])
        for name in ("air", "industrial")
    )
    leak = 0.05 * (air + industrial)
    less_blast = ((0.79 * air + 0.05 * industrial) * 42.0 + leak * 42.0) * 1e3
    by_hand = apart + others + heated - less_blast
    found = float((oxide.smelting.heat.surplus - sulfate.smelting.heat.surplus)[0])
    assert found == pytest.approx(by_hand, rel=0.05)


def test_the_default_is_that_of_the_gas_train() -> None:
    assert SmeltingSettings().dust_sulfation == GasLineSettings().sulfation


def test_it_is_refused_beside_a_gas_train() -> None:
    text = _text("skerry_point", GAS).replace('dust = "6 %"', 'dust = "6 %"\ndust_sulfation = "50 %"')
    with pytest.raises(CaseError, match=r"dust_sulfation.*excludes \[gas_train\]"):
        load_case(text)
    load_case(text.replace("[gas_train]\n[acid_plant]", ""))


@pytest.mark.parametrize(
    ("value", "said"), [('"120 %"', "too high"), ('"-5 %"', "negative"), ('"3 kg"', "%")]
)
def test_bad_shares(value: str, said: str) -> None:
    text = _text("skerry_point").replace('dust = "6 %"', f'dust = "6 %"\ndust_sulfation = {value}')
    with pytest.raises(CaseError, match=rf"dust_sulfation.*{said}"):
        load_case(text)


def test_sulfur_closes_at_the_boundary() -> None:
    r = _surplus(0.7)
    assert np.abs(r.ledger.element_closure()).max() < 1e-9
    assert np.abs(r.smelting.ledger.element_closure()).max() < 1e-9
    assert r.ledger.outputs["smelting.dust"].elements.min() > -1e-9


def _with_converter(*changes: str) -> Results:
    return solve(load_case(_text("skerry_point", "\n[converting]\n"), list(changes)).inputs)


def test_converter_dust_comes_back_as_sulfated_as_that_of_the_furnace() -> None:
    r = _with_converter()
    back, dust = r.circuit.back["converting_dust"], r.converting.dust
    copper = dust.element("Cu") - 2 * (dust.amount("Cu2S") if "Cu2S" in dust.phase.names else 0.0)
    metal = dust.amount("Cu") if "Cu" in dust.phase.names else 0.0
    assert back.amount("CuSO4") == pytest.approx(0.7 * (copper - metal), rel=1e-6) and (copper > 0).all()
    assert np.abs(r.ledger.element_closure()).max() < 1e-9
    assert np.abs(r.ledger.heat_closure()).max() < 1e-9


def test_none_of_it_where_none_is_asked_for() -> None:
    back = _with_converter("smelting.dust_sulfation=0 %").circuit.back["converting_dust"]
    assert np.abs(back.amount("CuSO4")).max() == 0.0
