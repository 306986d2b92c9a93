"""However narrow the terminal: no traceback, no number lost, none cut in two."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pyrobal.cli import main
from pyrobal.report.narrow import NARROW

pytestmark = pytest.mark.usefixtures("solved_once")

CASES = Path(__file__).parents[2] / "cases"
CASE = str(CASES / "skerry_point.toml")
NUMBER = re.compile(r"(?<![\w.])-?\d[\d,]*(?:\.\d+)?(?:e[+-]?\d+)?(?![\w.])")
SWEEP = ["sweep", CASE, "--over", "smelting.fe_sio2=1.1:1.2:3", "--read", "smelting.fuel,smelting.matte.rate"]
WINDOW = ["window", CASE, "--x", "smelting.enrichment=45:55 %:3", "--y", "smelting.matte_grade=60:65 %:3",
          "--limit", "smelting.fuel<=1000", "--workers", "1"]  # fmt: skip
LINES = {
    "balance": ["balance", CASE],
    "every table": ["balance", CASE, "--detail", "all"],
    "a whole plant": ["balance", str(CASES / "marram_sound.toml"), "--detail", "gas,acid,load"],
    "check": ["check", CASE],
    "compare": ["compare", CASE, CASE, "--set", "smelting.matte_grade=65 %"],
    "settings": ["settings", "smelting"],
    "readings": ["readings", "smelting"],
    "substance": ["substance", "Cu2S"],
    "substances": ["substance"],
    "explain": ["explain", CASE, "smelting.fuel"],
    "sweep": SWEEP,
    "window": WINDOW,
    "sensitivity": ["sensitivity", CASE, "--read", "smelting.fuel"],
}


def printed(
    line: list[str], width: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> str:
    monkeypatch.setenv("COLUMNS", str(width))
    assert main(line) == 0
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return out


@pytest.mark.parametrize("name", LINES)
def test_every_number_is_there_at_any_width(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    wide = set(NUMBER.findall(printed(LINES[name], 200, capsys, monkeypatch)))
    assert wide
    printed(LINES[name], 1, capsys, monkeypatch)  # no column can hold anything; it says what it can
    for width in (10, 20, NARROW - 1, NARROW, 60):
        narrow = printed(LINES[name], width, capsys, monkeypatch)
        if width < 20:  # less than a number takes
            joined = re.sub(r"\s", "", narrow)
            assert {number for number in wide if number not in joined} == set(), width
        else:
            assert wide - set(NUMBER.findall(narrow)) == set(), width
