"""Every rate has a range that is allowed and one that is usual: absurd is refused, odd is a caution."""

from __future__ import annotations

import pytest

from pyrobal import balance
from pyrobal.case.load import load_case
from pyrobal.case.registry import matching
from pyrobal.case.schema import nested, written
from pyrobal.errors import CaseError
from pyrobal.fields import Quantity
from pyrobal.flowsheet.inputs import SECTIONS

CASE = "cases/skerry_point.toml"
RATES = ("t/h", "Nm3/h", "MW", "kg/h")


def _rates(section: str, kind: type) -> list[tuple[str, Quantity]]:
    found = [
        (f"{section}.{name}", d)
        for name, d in written(kind).items()
        if isinstance(d, Quantity) and d.unit in RATES
    ]
    return found + [
        rate for name, within in nested(kind).items() for rate in _rates(f"{section}.{name}", within)
    ]


@pytest.mark.parametrize(
    ("key", "declared"), [rate for section, kind in SECTIONS.items() for rate in _rates(section, kind)]
)
def test_every_rate_has_its_ranges(key: str, declared: Quantity) -> None:
    assert declared.low is not None and declared.high is not None, key
    if not key.endswith("limit"):  # a permit may say what it likes
        assert (
            declared.usual is not None
            and declared.low <= declared.usual[0] < declared.usual[1] <= declared.high
        )


@pytest.mark.parametrize(
    "absurd",
    ["concentrate.Fenholt.rate=1e100 t/h", "smelting.heat_loss=1e6 MW", "revert.ladle skulls.rate=1e9 t/h"],
)
def test_absurd_is_refused(absurd: str) -> None:
    with pytest.raises(CaseError, match="too high; allowed"):
        load_case(CASE, [absurd])


@pytest.mark.parametrize("odd", ["concentrate.Fenholt.rate=900 t/h", "smelting.heat_loss=14 kW"])
def test_odd_is_a_caution(odd: str) -> None:
    result = balance(load_case(CASE, [odd]))
    assert result.status == "caution"
    assert any("outside what is usual" in m.text and m.key == odd.split("=")[0] for m in result.messages)


def test_usual_and_nil_are_not() -> None:
    for value in ("55 t/h", "0 t/h"):
        assert not [
            c for c in load_case(CASE, [f"concentrate.Fenholt.rate={value}"]).cautions if "usual" in c.text
        ]


def test_heat_with_nowhere_to_go_is_a_caution() -> None:
    result = balance(load_case("cases/gannet_rock.toml"))
    assert result.status == "caution"
    assert any(m.level == "caution" and m.key == "smelting.heat.surplus" for m in result.messages)


def test_the_registry_tells_the_usual_range() -> None:
    (loss,) = matching("smelting.heat_loss")[:1]
    assert loss.allowed == "0 to 200 MW"
    assert loss.meaning.endswith("; usually 1 to 60 MW")
    assert "usually" not in matching("smelting.dust")[0].meaning
