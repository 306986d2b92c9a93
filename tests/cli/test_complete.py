"""What the shell offers at the cursor, through click's own completion and through one real bash."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.shell_completion import ShellComplete

from pyrobal.cli.commands import pyrobal

ROOT = Path(__file__).parents[2]
CASE = str(ROOT / "cases" / "skerry_point.toml")


def offered(*arguments: str) -> list[str]:
    """What is offered for the last of the words."""
    *before, last = arguments
    shell = ShellComplete(pyrobal, {}, "pyrobal", "_PYROBAL_COMPLETE")
    return [item.value for item in shell.get_completions(before, last)]


@pytest.mark.parametrize(
    ("line", "among"),
    [
        (["balance", "--set", "smelting.enr"], "smelting.enrichment="),
        (["balance", CASE, "--set", "concentrate.Fenholt.assay.C"], "concentrate.Fenholt.assay.Cu="),
        (["balance", CASE, "--set", "smelting.close"], "smelting.close_heat_with="),
        (["balance", CASE, "--detail", "smel"], "smelting"),
        (["balance", CASE, "--aim", "smelting.heat.sur"], "smelting.heat.surplus="),
        (["balance", CASE, "--by", "smelting.enr"], "smelting.enrichment"),
        (["sweep", CASE, "--over", "smelting.enr"], "smelting.enrichment="),
        (["sweep", CASE, "--read", "smelting.slag.rate,smelting.heat.sur"], "smelting.slag.rate,smelting.heat.surplus"),
        (["sweep", CASE, "--over", "smelting.close"], "smelting.close_heat_with="),
        (["window", CASE, "--x", "smelting.enr"], "smelting.enrichment="),
        (["window", CASE, "--limit", "smelting.heat.sur"], "smelting.heat.surplus"),
        (["window", CASE, "--best", "ma"], "max:"),
        (["window", CASE, "--best", "max:smelting.heat.sur"], "max:smelting.heat.surplus"),
        (["blend", CASE, "--best", "ma"], "margin"),
        (["sensitivity", CASE, "--to", "smelting.fe"], "smelting.fe_sio2"),
        (["uncertainty", CASE, "--vary", "smelting.fe"], "smelting.fe_sio2="),
        (["compare", CASE, CASE, "--set", "smelting.fe"], "smelting.fe_sio2="),
        (["settings", "smelting.fe"], "smelting.fe_sio2"),
        (["readings", "smelting.heat.sur"], "smelting.heat.surplus"),
        (["explain", CASE, "smelting.heat.sur"], "smelting.heat.surplus"),
        (["explain", CASE, "feed.assay.S"], "feed.assay.SiO2"),
        (["substance", "Fe3O4"], "Fe3O4(slag)"),
    ],
)  # fmt: skip
def test_keys_are_offered(line: list[str], among: str) -> None:
    found = offered(*line)
    assert among in found
    assert all(word.startswith(line[-1]) for word in found)


def test_without_a_case_a_key_ends_where_the_user_names_things() -> None:
    assert offered("balance", "--set", "concentrate.") == ["concentrate."]


@pytest.mark.parametrize("case", ["no_such.toml", "-", str(ROOT / "pyproject.toml")])
def test_a_case_that_cannot_be_read_leaves_the_registry(case: str) -> None:
    assert "smelting.enrichment=" in offered("balance", case, "--set", "smelting.enr")


@pytest.fixture
def bash(tmp_path: Path) -> Callable[..., tuple[list[str], str]]:
    """What a bash that broke the line into words puts in place of the last, and what it complains of."""
    program = tmp_path / "pyrobal"
    program.write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m pyrobal "$@"\n')
    program.chmod(0o755)
    environment = {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}"}
    return lambda *words: completed(environment, *words)


def completed(environment: dict[str, str], *words: str) -> tuple[list[str], str]:
    quoted = " ".join(f"'{word}'" for word in words)
    script = (
        'compopt() { :; }; eval "$(_PYROBAL_COMPLETE=bash_source pyrobal)"; '
        f"COMP_WORDS=({quoted}); COMP_CWORD={len(words) - 1}; _pyrobal_completion pyrobal; "
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    done = subprocess.run(
        ["bash", "--norc", "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env=environment,
        cwd=ROOT,
    )
    return done.stdout.splitlines(), done.stderr


def test_a_real_bash(bash: Callable[..., tuple[list[str], str]]) -> None:
    found, errors = bash("pyrobal", "balance", CASE, "--set", "smelting.enr")
    assert found == ["smelting.enrichment="]
    assert errors == ""


def test_bash_breaks_words_at_colons_and_equals_signs(bash: Callable[..., tuple[list[str], str]]) -> None:
    words = ("pyrobal", "window", CASE, "--best", "max", ":", "smelting.heat.sur")
    assert bash(*words)[0] == ["smelting.heat.surplus"]
    words = ("pyrobal", "balance", CASE, "--set", "smelting.fe_sio2", "=", "1.3", "--set", "smelting.enr")
    assert bash(*words)[0] == ["smelting.enrichment="]


def test_bash_keeps_a_blank_in_a_name(bash: Callable[..., tuple[list[str], str]]) -> None:
    plain = bash("pyrobal", "balance", CASE, "--set", "concentrate.Marrick")[0]
    quoted = bash("pyrobal", "balance", CASE, "--set", '"concentrate.Marrick')[0]
    assert r"concentrate.Marrick\ Dale.moisture=" in plain
    assert "concentrate.Marrick Dale.moisture=" in quoted
