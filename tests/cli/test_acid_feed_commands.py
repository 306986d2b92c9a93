"""A case of the acid plant alone goes through every command."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pyrobal.cli import main

CASE = """title = "Acid plant alone"
[acid_feed]
flow = "150000 Nm3/h"
so2 = "10 %"
o2 = "11 %"
[acid_plant]
[[limit]]
name = "tail"
reading = "acid.tail.so2"
most = "200 ppm"
"""


@pytest.fixture
def case(tmp_path: Path) -> str:
    path = tmp_path / "acid.toml"
    path.write_text(CASE)
    return str(path)


def test_balance_in_every_form(case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = {kind: tmp_path / f"out.{kind}" for kind in ("html", "xlsx", "json")}
    arguments = [word for kind, path in files.items() for word in (f"--{kind}", str(path))]
    assert main(["balance", case, "--detail", "all", *arguments]) == 0
    assert all(path.stat().st_size > 0 for path in files.values())
    said = json.loads(files["json"].read_text())
    keys = set(said["readings"])
    assert {"acid.production", "balance.S.closure", "limit.tail.use"} <= keys
    assert not [k for k in keys if k.startswith(("smelting.", "feed.", "gas.", "emissions.", "load."))]
    assert all(key.startswith(("site.", "acid_")) for key in said["assumed"])
    assert "acid made" in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments",
    [
        ["check"],
        ["explain", "acid.production"],
        ["explain", "acid.bed.1.conversion"],
        ["sweep", "--over", "acid_feed.so2=6 %:12 %:3", "--read", "acid.conversion"],
        ["sensitivity", "--read", "acid.conversion"],
        ["window", "--x", "acid_feed.so2=6 %:12 %:3", "--y", "acid_plant.bed_1_inlet=400 degC:430 degC:3",
         "--limit", "acid.hottest_bed <= 630 degC"],
        ["uncertainty", "--read", "acid.conversion", "--samples", "16"],
    ],
    ids=lambda a: " ".join(a[:2]),
)  # fmt: skip
def test_every_other_command(arguments: list[str], case: str, capsys: pytest.CaptureFixture[str]) -> None:
    command, *rest = arguments
    assert main([command, case, *rest]) == 0, capsys.readouterr().err


def test_a_window_ends_where_the_catalyst_goes_out(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    across = ["--x", "acid_feed.so2=6 %:9 %:2", "--y", "acid_plant.bed_1_inlet=400 degC:430 degC:4"]
    assert main(["window", case, *across, "--limit", "acid.conversion >= 10 %"]) == 0
    out = capsys.readouterr().out
    assert "catalyst alight: acid.lighting_margin >= 0" in out
