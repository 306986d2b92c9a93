"""The Python door: examples of the docstrings run, results show themselves short, signatures are readable."""

from __future__ import annotations

import doctest
import inspect
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import pyrobal
from pyrobal.api import commands, planning
from pyrobal.errors import CaseError
from tests.demos import balanced

ROOT = Path(__file__).parents[2]
CASE = str(ROOT / "cases" / "skerry_point.toml")
FUNCTIONS = [name for name in pyrobal.__all__ if inspect.isfunction(getattr(pyrobal, name))]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_each_public_function_has_an_example_that_runs(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    function = getattr(pyrobal, name)
    found = [test for test in doctest.DocTestFinder(recurse=False).find(function, name) if test.examples]
    assert found
    told: list[str] = []
    runner = doctest.DocTestRunner(verbose=False)
    assert runner.run(found[0], out=told.append).failed == 0, "".join(told)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_signature_says_what_may_be_given(name: str) -> None:
    signature = inspect.signature(getattr(pyrobal, name))
    assert " at 0x" not in str(signature)
    assert all(p.annotation is not inspect.Parameter.empty for p in signature.parameters.values())


def _window() -> Any:
    limit = "smelting.fuel_heat <= 6 MW"
    return pyrobal.window(
        CASE, "smelting.enrichment=50:70 %:3", "smelting.matte_grade=60:70 %:3", limit=limit
    )


def _uncertainty() -> Any:
    vary = {"smelting.heat_loss": "+-1 MW"}
    return pyrobal.uncertainty(CASE, "smelting.fuel_heat", vary=vary, only=True, samples=8)


STUDIES: dict[str, Callable[[], Any]] = {
    "balance": lambda: pyrobal.balance(CASE),
    "compare": lambda: pyrobal.compare(CASE, CASE, set="smelting.matte_grade=66 %"),
    "explain": lambda: pyrobal.explain(CASE, "smelting.fuel_heat"),
    "sweep": lambda: pyrobal.sweep(CASE, {"smelting.enrichment": ["50 %", "55 %"]}, "smelting.fuel_heat"),
    "sensitivity": lambda: pyrobal.sensitivity(CASE, "smelting.fuel_heat", to="smelting.heat_loss"),
    "window": _window,
    "uncertainty": _uncertainty,
}


@pytest.mark.parametrize("name", STUDIES)
def test_a_result_shows_itself_and_is_written(name: str, tmp_path: Path) -> None:
    found = STUDIES[name]()
    assert len(repr(found).splitlines()) == 5 and len(repr(found)) < 600
    table, picture, _ = found._repr_html_().partition("<svg")
    assert "<table>" in table and len(table) < 8000
    assert bool(picture) == (name == "balance"), "the plant is drawn below its first figures"
    assert len(found.frame())
    assert found.to_html(tmp_path / "page.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert found.to_xlsx(tmp_path / "book.xlsx").stat().st_size > 1000
    if found.figures:
        assert found.figure(next(iter(found.figures))).data
        with pytest.raises(KeyError, match="no figure 'none'"):
            found.figure("none")
    else:
        with pytest.raises(KeyError, match="no figure"):
            found.figure()


def test_a_name_in_a_case_is_no_markup() -> None:
    case = pyrobal.load_case(CASE, ['title="<script>alert(1)</script>"'])
    assert "<script>" not in pyrobal.balance(case)._repr_html_()


def test_several_scenarios_are_told_in_one_line() -> None:
    result = balanced("skerry_point")
    assert len(repr(result.case)) < 200
    assert "0x" not in repr(result)


def test_settings_are_laid_over_a_case_that_is_loaded() -> None:
    case = pyrobal.load_case(CASE, ["smelting.enrichment=60 %"])
    result = pyrobal.balance(case, set="smelting.matte_grade=66 %")
    assert result["smelting.enrichment"].magnitude == pytest.approx(60.0)
    assert result["smelting.matte.grade"].magnitude == pytest.approx(66.0)
    aimed = pyrobal.balance(case, aim="smelting.fuel_heat=3 MW", by="smelting.enrichment=40 %:90 %")
    assert aimed["smelting.fuel_heat"].magnitude == pytest.approx(3.0)


def test_everything_wrong_is_told() -> None:
    with pytest.raises(CaseError, match="did you mean"):
        pyrobal.sweep(CASE, {"smelting.enrichmnt": "50 %,55 %"}, "smelting.fuel_heat")
    with pytest.raises(CaseError, match="KEY=FROM:TO"):
        pyrobal.window(CASE, "smelting.enrichment", "smelting.matte_grade=60:70 %:3")


def test_every_command_of_the_door_is_of_this_module() -> None:
    assert all(
        getattr(pyrobal, name).__module__ in (commands.__name__, planning.__name__, "pyrobal.case.load")
        for name in FUNCTIONS
    )
