"""The rules of the house that a machine can look after."""

from __future__ import annotations

import ast
import dataclasses
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import pyrobal
from pyrobal.case.registry import settings
from pyrobal.case.schema import ALLOWED, nested
from pyrobal.fields import Assay, Quantity, declarations
from pyrobal.flowsheet.inputs import SECTIONS
from pyrobal.readings.registry import readings
from pyrobal.units import SPELLINGS, kind

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "pyrobal").rglob("*.py"))
CASE = ROOT / "cases" / "skerry_point.toml"
MOST_LINES, MOST_BODY = 400, 60

Function = ast.FunctionDef | ast.AsyncFunctionDef


def name(file: Path) -> str:
    return str(file.relative_to(ROOT))


def functions(file: Path) -> Iterator[Function]:
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, Function):
            yield node


def test_imports_go_downwards() -> None:
    """The contract of pyproject.toml: floors, independent steps, units at the edges, a silent core."""
    lint = Path(sys.executable).parent / "lint-imports"
    process = subprocess.run([lint], cwd=ROOT, capture_output=True, text=True, check=False)
    assert process.returncode == 0, process.stdout


def test_the_public_door() -> None:
    studies = {
        "blend",
        "compare",
        "explain",
        "optimise",
        "plan",
        "reconcile",
        "sensitivity",
        "sweep",
        "uncertainty",
        "window",
    }
    assert set(pyrobal.__all__) == {"Case", "Result", "__version__", "balance", "load_case"} | studies
    assert all(getattr(pyrobal, public) is not None for public in pyrobal.__all__)
    assert set(pyrobal.__all__) <= set(dir(pyrobal))
    with pytest.raises(AttributeError, match="nonsense"):
        _ = pyrobal.nonsense


def test_ci_runs_the_commands_of_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    commands = [line.strip() for line in readme.splitlines() if line.startswith("    python3 -m venv .venv")]
    assert len(commands) == 2
    for part in (part for command in commands for part in command.split(" && ")):
        assert part in script


def loaded_by(code: str) -> set[str]:
    process = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys; print(*sys.modules)"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return set(process.stdout.split())


def test_import_of_the_package_loads_nothing() -> None:
    assert {module for module in loaded_by("import pyrobal") if module.startswith("pyrobal")} == {"pyrobal"}


def test_one_balance_loads_neither_pandas_nor_an_optimiser_nor_thermo() -> None:
    code = f"import pyrobal; pyrobal.balance(pyrobal.load_case({str(CASE)!r}))['smelting.matte.rate']"
    assert loaded_by(code) & {"pandas", "scipy.optimize", "thermo"} == set()


@pytest.mark.parametrize("file", FILES, ids=name)
def test_a_file_is_short(file: Path) -> None:
    assert len(file.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


@pytest.mark.parametrize("file", FILES, ids=name)
def test_a_function_fits_on_a_screen_and_keeps_no_global_state(file: Path) -> None:
    for function in functions(file):
        first = (
            function.body[1] if ast.get_docstring(function) and len(function.body) > 1 else function.body[0]
        )
        length = (function.body[-1].end_lineno or 0) - first.lineno + 1
        assert length <= MOST_BODY, f"{function.name} has {length} lines"
        assert not any(isinstance(node, ast.Global) for node in ast.walk(function)), function.name


@pytest.mark.parametrize("file", FILES, ids=name)
def test_what_is_public_says_what_it_is(file: Path) -> None:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree) or not tree.body, "the module"
    for node in tree.body:
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), node.name


# The unit of a bound is that of its reading; what an upset lays over the case are sections of their own.
READ_OTHERWISE = {("limit", "unit"), ("upset", "over")}


@pytest.mark.parametrize("section", SECTIONS)
def test_every_setting_is_declared_within_its_own_limits(section: str) -> None:
    for field in dataclasses.fields(SECTIONS[section]):
        declared = declarations(SECTIONS[section]).get(field.name)
        if field.name in nested(SECTIONS[section]):
            continue
        if (section, field.name) in READ_OTHERWISE:
            continue
        assert declared is not None, f"{section}.{field.name} has no declaration"
        assert declared.meaning
        assert declared.meaning == declared.meaning.strip()
        if isinstance(declared, Quantity):
            assert kind(declared.unit)
            assert declared.low is None or declared.high is None or declared.low < declared.high
        if isinstance(declared, Quantity) and field.default_factory is not dataclasses.MISSING:
            default = float(field.default_factory()[0])
            assert declared.low is None or default >= declared.low
            assert declared.high is None or default <= declared.high
        assert not isinstance(declared, Assay) or declared.allowed in ALLOWED


def test_every_reading_has_a_unit_of_the_house_and_a_key_of_its_own() -> None:
    known = readings()
    assert len({reading.key for reading in known}) == len(known)
    for reading in known:
        assert set(reading.unit_text.split(" or ")) <= set(SPELLINGS), reading.key
        assert reading.meaning, reading.key


def test_a_number_that_is_a_setting_or_a_reading_carries_one_unit() -> None:
    """``smelting.enrichment`` may be either."""
    units = {reading.key: reading.unit_text for reading in readings()}
    for setting in (s for s in settings() if s.unit):
        assert units.get(setting.key, setting.unit) == setting.unit, setting.key
