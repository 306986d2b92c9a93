"""``pyrobal explain`` where one key names a setting and a reading."""

from __future__ import annotations

from pathlib import Path

import pytest

from pyrobal.cli import main

CASES = Path(__file__).parents[2] / "cases"


@pytest.mark.parametrize(
    ("case", "key", "reading", "setting"),
    [
        ("brae_fell", "smelting.fuel", "smelting.fuel = 3.15", "smelting.fuel = heavy_oil"),
        ("skerry_point", "smelting.enrichment", "smelting.enrichment = 55 vol%", "given in the case"),
    ],
)
def test_the_reading_comes_first_and_the_setting_of_the_same_name_after(
    case: str, key: str, reading: str, setting: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["explain", str(CASES / f"{case}.toml"), key]) == 0
    told, _, as_setting = capsys.readouterr().out.partition("The setting of the same name")
    assert told.startswith(reading)
    assert setting in as_setting


def test_a_setting_whose_reading_the_case_does_not_have(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", str(CASES / "skerry_point.toml"), "converting.enrichment"]) == 0
    assert "a setting that this case does not give" in capsys.readouterr().out
