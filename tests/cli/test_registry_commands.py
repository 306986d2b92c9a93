"""`pyrobal settings`, `readings` and `substance` print what the registry and the tables hold."""

from __future__ import annotations

import re

import pytest

from pyrobal.case.registry import settings
from pyrobal.cli import main
from pyrobal.readings.registry import readings
from pyrobal.thermo.tables import load_substances


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(list(arguments)) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize(("columns", "heading"), [(80, []), (160, ["setting"])])
def test_settings_prints_every_one(
    columns: int, heading: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In columns where they fit, else below each other."""
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = printed(capsys, "settings").splitlines()
    first = [line.split()[0] for line in lines if line and not line.startswith(" ")]
    assert first == [*heading, *(s.key for s in settings())]


def test_settings_of_one_prefix(capsys: pytest.CaptureFixture[str]) -> None:
    out = printed(capsys, "settings", "smelting.matte_grade")
    assert re.search(r"^smelting\.matte_grade +wt% +62 wt% +20 to 100 wt%", out, re.MULTILINE)
    assert "copper in the matte" in out


def test_readings_prints_every_one(capsys: pytest.CaptureFixture[str]) -> None:
    lines = printed(capsys, "readings").splitlines()
    first = [line.split()[0] for line in lines if line and not line.startswith(" ")]
    assert first == ["reading", *(r.key for r in readings())]


def test_every_substance_is_listed_and_can_be_printed(capsys: pytest.CaptureFixture[str]) -> None:
    out = printed(capsys, "substance")
    names = [line.split()[0] for line in out.splitlines()[1:] if line and not line.startswith(" ")]
    assert set(load_substances()) <= set(names)
    for name in list(load_substances())[::7]:
        assert name in printed(capsys, "substance", name)


def test_melting_of_copper_shows_from_either_side(capsys: pytest.CaptureFixture[str]) -> None:
    # Copper melts at 1084.62 degC, a fixed point of the ITS-90 (Preston-Thomas, Metrologia 27, 1990, table 1;
    # from memory), taking 13.0 to 13.3 kJ/mol (handbooks, from memory).
    out = printed(capsys, "substance", "Cu", "--from", "1000 degC", "--to", "1200 degC")
    below = re.search(r"^ *1084\.\d+ +(?!liquid).*$", out, re.MULTILINE)
    above = re.search(r"^ *1084\.\d+ +liquid.*$", out, re.MULTILINE)
    assert below and above
    heat = float(above.group().split()[-4]) - float(below.group().split()[-4])
    assert 12.5 < heat < 13.6


def test_outside_its_range_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert "beyond range" in printed(capsys, "substance", "CuFeS2", "--at", "3000 degC")
    assert "beyond" not in printed(capsys, "substance", "CuFeS2", "--at", "25 degC")
