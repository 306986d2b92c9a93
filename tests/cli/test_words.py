"""What commands say and take, word for word: one rule for the nearest key, lists with commas, whole help."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from pyrobal.cli import main
from pyrobal.cli.commands import pyrobal
from pyrobal.names import nearest, suggestion
from pyrobal.readings import registry
from pyrobal.streams.mineralogy import MINERALS

CASES = Path(__file__).parents[2] / "cases"
CASE = str(CASES / "skerry_point.toml")
PLANT = str(CASES / "marram_sound.toml")
KEYS = [reading.key for reading in registry.readings()]


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("nope", None),
        ("x", None),
        ("smelting.nothing_like_it", None),
        ("smelting.oxigen", "smelting.oxygen.demand"),  # its first part
        ("matte.grade", "smelting.matte.grade"),  # its last parts
        ("smelteng.matte.rate", "smelting.matte.rate"),
        ("Smelting.Fuel", "smelting.fuel"),
        ("smelting.fuel-heat", "smelting.fuel_heat"),
        ("smelting.matte_grade", "smelting.matte.grade"),
        ("emissions.S02", "emissions.so2"),
        ("acid.so2", "acid.so2_load"),
    ],
)
def test_the_nearest_key_is_like_it_in_every_part(written: str, meant: str | None) -> None:
    assert nearest(written, KEYS) == meant


@pytest.mark.parametrize("key", KEYS)
def test_a_key_with_two_letters_swapped_or_one_lost_is_known_again(key: str) -> None:
    middle = len(key) - 2
    assert nearest(key[:middle] + key[middle + 1 :], KEYS) is not None
    assert nearest(key.upper(), [*KEYS]) == key


def test_a_letter_that_only_looks_latin_is_named() -> None:
    said = suggestion("Сu", ["Cu", "Fe"])
    assert said == 'its "С" is the letter CYRILLIC CAPITAL LETTER ES, not a Latin one; did you mean "Cu"?'


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["sweep", CASE, "--over", "smelting.fe_sio2=1:1.2:2", "--read", "nope"], "pyrobal readings lists them"),
        (["explain", CASE, "smelting.oxigen"], 'did you mean "smelting.oxygen.demand"?'),
        (["explain", CASE, "nope"], "pyrobal readings lists those there are"),
        (["readings", "smelting.oxigen"], 'did you mean "smelting.oxygen.demand"?'),
        (["settings", "matte_gradd"], 'did you mean "smelting.matte_grade"?'),
        (["balance", CASE, "--set", "smelting.oxigen_purity=95 %"], 'did you mean "oxygen_purity"?'),
        (["balance", CASE, "--aim", "smelting.fuell=0 Nm3/h", "--by", "smelting.enrichment"],
         'did you mean "smelting.fuel"?'),
        (["balance", CASE, "--detail", "smelting,smeltng"], 'no section "smeltng"; did you mean "smelting"?'),
        (["uncertainty", CASE, "--read", "smelting.fuel", "--vary", "smelting.enrichmnt=+-1 %"],
         'did you mean "smelting.enrichment"?'),
        (["substance", "chalcopyrit"], 'did you mean "chalcopyrite"?'),
    ],
)  # fmt: skip
def test_every_command_proposes_by_that_rule(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    assert says in capsys.readouterr().err


def test_a_repeated_heading_is_a_fault_of_the_table(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "table.csv"
    table.write_text("smelting.fe_sio2,smelting.fe_sio2\n1.1,1.2\n")
    line = ["sweep", CASE, "--scenarios", str(table), "--read", "smelting.fuel"]
    assert main(line) == 2
    err = capsys.readouterr().err
    assert f"{table}:1: smelting.fe_sio2: heads two columns" in err
    assert "--over" not in err
    table.write_text("smelting.fe_sio2\n1.1\n")
    assert main([*line, "--over", "smelting.fe_sio2=1.1:1.2:2"]) == 2
    assert f"--over: smelting.fe_sio2: is varied twice, here and in {table}" in capsys.readouterr().err


@pytest.mark.usefixtures("solved_once")
def test_sections_as_the_hint_prints_them(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", PLANT, "--detail", "load,emissions"]) == 0
    out = capsys.readouterr().out
    assert re.search(r"^Emissions", out, re.M)
    assert re.search(r"^Load", out, re.M)
    hint = re.search(r"More: --detail ((?:\S+,\n)*\S+) or all", out)
    assert hint is not None
    assert main(["balance", PLANT, "--detail", hint[1].replace("\n", "")]) == 0
    assert re.search(r"^Emissions", capsys.readouterr().out, re.M)


@pytest.mark.parametrize(
    "by",
    [["--over", "smelting.enrichment=45:50 %:2"],
     ["--over", "smelting.fe_sio2=1.1:1.2:2", "--aim", "smelting.fuel_heat=5 MW", "--by", "smelting.enrichment"]],
)  # fmt: skip
def test_what_is_set_and_read_stands_once(
    by: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "grid.csv"
    assert main(["sweep", CASE, *by, "--read", "smelting.enrichment", "--out", str(file)]) == 0
    assert file.read_text().splitlines()[0].count("smelting.enrichment") == 1
    assert len(file.read_text().splitlines()) == 3


def test_a_setting_without_effect_is_not_its_reading(tmp_path: Path) -> None:
    file = tmp_path / "grid.csv"
    line = ["sweep", CASE, "--set", "smelting.close_heat_with=enrichment", "--read", "smelting.enrichment"]
    assert main([*line, "--over", "smelting.enrichment=45:50 %:2", "--out", str(file)]) == 0
    assert file.read_text().splitlines()[0].count("smelting.enrichment") == 2


def test_help_shows_the_whole_of_each_summary() -> None:
    line = [sys.executable, "-m", "pyrobal", "--help"]
    out = subprocess.run(line, capture_output=True, text=True, check=True, env={"COLUMNS": "60"}).stdout
    assert "..." not in out.replace("[ARGS]...", "")
    for name, command in pyrobal.commands.items():
        sentence = (command.help or "").split("\n\n")[0].split(". ")[0].rstrip(".")
        assert " ".join(sentence.split()) in " ".join(out.split()), name


def test_what_a_window_needs_is_marked(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["window", "--help"]) == 0
    line = next(line for line in capsys.readouterr().out.split("--") if line.startswith("limit "))
    assert "Needed where the case has no [[limit]]." in " ".join(line.split())


def test_a_window_tells_every_reason(capsys: pytest.CaptureFixture[str]) -> None:
    line = ["window", CASE, "--x", "smelting.enrichment=40:98 %:6", "--y", "smelting.matte_grade=60:85 %:6",
            "--limit", "smelting.fuel<=1000", "--workers", "1"]  # fmt: skip
    assert main(line) in (0, 1)
    legend = capsys.readouterr().out.partition("  x  no solution: ")[2]
    total = float(legend.split(" %")[0])
    parts = [float(share) for share in re.findall(r"^ {5}(\d+) %: ", legend, re.M)]
    assert len(parts) >= 2
    assert sum(parts) == pytest.approx(total, abs=len(parts))
    assert "purity of the industrial oxygen" in " ".join(legend.split())
    assert "matte grade too high" in " ".join(legend.split())


@pytest.mark.parametrize(("mineral", "name"), [*MINERALS.items(), ("Copper", "Cu"), ("wustite", "Fe0.947O")])
def test_a_substance_goes_by_the_name_of_its_mineral(
    mineral: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["substance", mineral, "--at", "25 degC"]) == 0
    assert capsys.readouterr().out.startswith(f"{name}: ")
