"""Matte that goes round is no matte made, and the message beyond the white metal point."""

from __future__ import annotations

import pytest

from pyrobal import balance
from pyrobal.case.load import load_case
from pyrobal.report.result import Result

CASE = "cases/skerry_point.toml"


def _with(*settings: str) -> Result:
    return balance(load_case(CASE, settings))


def test_matte_made_does_not_hang_on_what_is_put_back() -> None:
    plain = _with("smelting.close_heat_with=nothing")
    cooled = _with("smelting.close_heat_with=cold_charge", "smelting.enrichment=95 %")
    r = cooled.results.smelting
    made, tapped, back = (
        cooled[f"smelting.{key}"].magnitude for key in ("matte.rate", "matte.tapped", "cold_charge")
    )
    assert back > 5.0 and tapped == pytest.approx(made + back, rel=1e-12)
    assert cooled["smelting.cold_charge_share"].magnitude == pytest.approx(100 * back / tapped, rel=1e-12)
    assert made == pytest.approx(plain["smelting.matte.rate"].magnitude, rel=0.01)
    assert made == pytest.approx(float(r.melt.matte_mass[0]) * 3.6, rel=1e-9)


@pytest.mark.parametrize(("enrichment", "said"), [("95 %", True), ("72 %", False)])
def test_much_put_back_is_a_caution(enrichment: str, said: bool) -> None:
    result = _with("smelting.close_heat_with=cold_charge", f"smelting.enrichment={enrichment}")
    assert said == any(m.level == "caution" and m.key == "smelting.cold_charge" for m in result.messages)


@pytest.mark.parametrize("setting", ["smelting.matte_grade=85 %", "smelting.oxygen_per_tonne=400 Nm3/t"])
def test_beyond_white_metal(setting: str) -> None:
    result = _with(setting)
    assert result.status == "infeasible"
    assert any("blister made in one step is outside this model" in m.text for m in result.messages)
