"""A good case: what becomes of it, what is assumed, what is said to be idle."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pyrobal.case import draft, registry, schema
from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError
from pyrobal.fields import quantity
from pyrobal.flowsheet import inputs as flowsheet_inputs
from pyrobal.flowsheet.inputs import Inputs

FEED = """
[[concentrate]]
name = "Fenholt"
rate = "55 t/h"
[concentrate.assay]
Cu = 28.1
Fe = 27.6
S = 31.9
SiO2 = 6.0
Au = "9 g/t"
"""


def test_si_inside() -> None:
    concentrate = load_case(FEED).inputs.concentrate[0]
    assert concentrate.rate is not None
    assert concentrate.rate.shape == (1,)
    assert concentrate.rate == pytest.approx([55_000 / 3600])
    assert concentrate.assay["Cu"] == pytest.approx([0.281])
    assert concentrate.assay["Au"] == pytest.approx([9e-6])


def test_only_the_feed_is_needed_and_every_default_is_stated() -> None:
    case = load_case(FEED)
    assert case.title == "untitled case"
    assert case.assumed["concentrate.Fenholt.moisture"] == "8 wt%"
    assert case.assumed["smelting.matte_grade"] == "62 wt%"
    assert case.assumed["smelting.slag_copper"] == "predicted"
    assert case.assumed["fuel.natural_gas.CH4"].endswith(" vol%")
    assert not set(case.assumed) & case.given
    assert case.cautions == ()


def test_what_is_assumed_is_what_is_used() -> None:
    """Writing every assumption down changes nothing, and then nothing is left to assume."""
    case = load_case(FEED)
    again = load_case(FEED, [f"{key}={text}" for key, text in case.assumed.items()])
    assert again.assumed == {}
    for (path, was), (path_again, now) in zip(case.inputs.arrays(), again.inputs.arrays(), strict=True):
        assert path == path_again
        np.testing.assert_allclose(now, was, rtol=1e-6)


def test_idle_settings_are_not_assumed_and_cautioned_where_written() -> None:
    case = load_case(FEED, ["smelting.oxygen_per_tonne=185 Nm3/t", "charge.moisture_after_drying=0.3 %"])
    assert "smelting.matte_grade" not in case.assumed
    (caution,) = case.cautions
    assert caution.key == "charge.moisture_after_drying"
    assert "there is no [dryer]" in caution.text


def test_a_fuel_nobody_burns_is_said() -> None:
    text = FEED + '[fuel.heavy_oil]\nC = 87\nH = 11\nS = 2\nheating_value = "40 MJ/kg"\n'
    case = load_case(text)
    assert case.inputs.fuel["heavy_oil"].kind == "ultimate"
    assert [(c.key, c.line) for c in case.cautions] == [("fuel.heavy_oil", 11)]
    assert load_case(text, ["smelting.fuel=heavy_oil"]).cautions == ()


def test_shares() -> None:
    text = FEED.replace('rate = "55 t/h"', 'share = "100 %"')
    case = load_case(text, ["charge.rate=110 t/h"])
    assert case.inputs.charge.rate == pytest.approx([110 / 3.6])


@pytest.mark.parametrize(
    "name", ["Fenholt <script>alert(1)</script>", "精鉱 🟠", "O'Shea & Sons, upper", "x" * 80]
)
def test_odd_names_are_names(name: str) -> None:
    case = load_case(FEED.replace("Fenholt", name))
    assert case.inputs.concentrate[0].name == name
    assert f"concentrate.{name}.moisture" in case.assumed


@pytest.mark.parametrize("name", ["", " ", " Fenholt", "a.b", "a=b", "x" * 81, "a\\u0007b"])
def test_names_that_cannot_be_keys(name: str) -> None:
    with pytest.raises(CaseError) as caught:
        load_case(FEED.replace("Fenholt", name))
    assert [(f.line, f.key) for f in caught.value.faults] == [(3, "concentrate.#1.name")]


def test_sources(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "case.toml"
    file.write_bytes(b"\xef\xbb\xbf" + FEED.replace("\n", "\r\n").encode())
    assert load_case(file).file == str(file)
    assert load_case(str(file)).inputs.title == load_case(FEED).inputs.title
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(FEED.encode())))
    assert load_case("-").file == "-"
    monkeypatch.setattr("sys.stdin", None)
    with pytest.raises(CaseError, match="standard input is closed"):
        load_case("-")


INLINE = 'concentrate = [{name = "Fenholt", rate = "55 t/h", assay = {Cu = 28.1, Fe = 27.6, S = 31.9}}]\n\n'
DOTTED = """
[[concentrate]]
name = "Fenholt"
rate = "55 t/h"
assay.Cu = 28.1
assay.Fe = 27.6
assay.S = 31.9
"""
QUOTED = """
[["concentrate"]]
"name" = 'Fenholt'
rate = '''55 t/h'''
[concentrate . "assay"]
Cu = 28.1
"Fe" = 27.6
S = 31.9
"""


@pytest.mark.parametrize("layout", [INLINE, DOTTED, QUOTED])
def test_every_way_of_writing_a_table(layout: str) -> None:
    case = load_case(layout)
    assert case.inputs.concentrate[0].assay["S"] == pytest.approx([0.319])
    with pytest.raises(CaseError) as caught:
        load_case(layout.replace("31.9", '"31.9 t/h"'))
    (fault,) = caught.value.faults
    assert fault.key == "concentrate.Fenholt.assay.S"
    assert fault.line == layout[: layout.index("31.9")].count("\n") + 1


def test_one_case_made_in_python() -> None:
    case = Case(load_case(FEED).inputs)
    assert case.file == "python"
    assert case.given == frozenset()


@dataclasses.dataclass(frozen=True)
class CoolerSettings:
    """A step that may come, with a table of its own within."""

    gas_temperature: Any = quantity("degC", "gas leaving it", default=623.15, low=373.15, high=773.15)


@dataclasses.dataclass(frozen=True)
class GasSettings:
    """The section it stands in."""

    leak: Any = quantity("%", "air drawn in", default=0.05, low=0.0, high=1.0)
    cooler: CoolerSettings = dataclasses.field(default_factory=CoolerSettings)


@dataclasses.dataclass(frozen=True)
class More(Inputs):
    """Inputs with one more section."""

    gas_train: GasSettings | None = None


def test_a_section_of_the_inputs_is_a_section_of_the_case(monkeypatch: pytest.MonkeyPatch) -> None:
    """A new step needs its settings, a field of ``Inputs`` and a line in SECTIONS; nothing in ``case``."""
    for module in (draft, registry, schema):
        monkeypatch.setattr(module, "SECTIONS", {**flowsheet_inputs.SECTIONS, "gas_train": GasSettings})
    for module in (draft, schema):
        monkeypatch.setattr(module, "Inputs", More)
    case = load_case(FEED + '[gas_train.cooler]\ngas_temperature = "340 degC"\n')
    assert case.inputs.gas_train.cooler.gas_temperature == pytest.approx([613.15])  # type: ignore[attr-defined]
    assert case.assumed["gas_train.leak"] == "5 %"
    assert "gas_train.cooler.gas_temperature" in {s.key for s in registry.settings()}
    assert "gas_train.cooler.gas_temperature" not in case.assumed
    assert load_case(FEED + "[gas_train]\n").assumed["gas_train.cooler.gas_temperature"] == "350 degC"
    for wrong, says in [
        ('[gas_train.cooler]\ngas_temperature = "50 degC"\n', "allowed: 100 to 500 degC"),
        ("[gas_train]\ncooler = 5\n", r"is written as \[gas_train.cooler\]"),
        ("[gas_train.coler]\n", 'did you mean "cooler"'),
    ]:
        with pytest.raises(CaseError, match=says):
            load_case(FEED + wrong)


def test_below_detection_is_half_the_limit_and_assumed() -> None:
    case = load_case(
        "cases/skerry_point.toml",
        [
            "concentrate.Fenholt.assay.Cd=<0.01",
            "concentrate.Fenholt.assay.As=< 50 g/t",
        ],
    )
    assay = case.inputs.concentrate[0].assay
    assert assay["Cd"] == pytest.approx(5e-5) and assay["As"] == pytest.approx(25e-6)
    assert case.assumed["concentrate.Fenholt.assay.Cd"] == "0.005 wt%, half of <0.01"
