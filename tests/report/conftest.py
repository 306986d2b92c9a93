"""Solved demonstration cases for the report's tests, and one whose names mean harm."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import pytest
from demos import balanced

from pyrobal.case.load import load_case
from pyrobal.report.result import Result, balance

from .browser import Page, browser

# What a name or a title may try: markup, a formula, an escape sequence, a direction override, length.
NASTY_TITLE = (
    "<script>alert('title')</script> \\u202e]cipot[ \\u001b[31m \U0001f525 {{ 7*7 }} ${x} "
    + "very long " * 30
)
NASTY_NAMES = (
    "<svg/onload:alert(1)>",
    "</script><script>alert(2)</script>",
    "+cmd|' /C calc'!A0",
    "@SUM(1,2)",
    "-2+3",
    "\u0645\u0631\u0643\u0632",
    "[bold red]markup[/]",
    "\U0001f525 & <b>fire</b>",
    "N" * 80,
)


@pytest.fixture(scope="session")
def tab() -> Iterator[Page]:
    """One browser for all tests of a process, which open their pages in it one after the other."""
    with browser() as opened:
        yield opened


@pytest.fixture(scope="session")
def skerry() -> Result:
    return balanced("skerry_point")


@pytest.fixture(scope="session")
def whole_plant() -> Result:
    return balanced("marram_sound")


@pytest.fixture(scope="session")
def infeasible() -> Result:
    return balanced("skerry_point", "smelting.matte_grade=79.8 %")


def nasty_text() -> str:
    """A case that solves and whose every name is hostile."""
    assay = "[concentrate.assay]\nCu = 27\nFe = 28\nS = 32\nSiO2 = 7\n"
    blend = "".join(f'[[concentrate]]\nname = "{name}"\nrate = "10 t/h"\n{assay}' for name in NASTY_NAMES)
    reverts = "".join(
        f'[[revert]]\nname = "{name}"\nrate = "1 t/h"\n[revert.assay]\nCu = 60\nFe = 14\nS = 21\n'
        for name in NASTY_NAMES[:3]
    )
    flux = "[flux.silica.assay]\nSiO2 = 94\n"
    fuel = "[fuel.'<i>gas</i>']\nCH4 = 100\n[smelting]\nfuel = '<i>gas</i>'\n"
    return f'title = "{NASTY_TITLE}"\n# </pre><script>alert(3)</script> -->\n{blend}{reverts}{flux}{fuel}'


@pytest.fixture(scope="session")
def nasty() -> Result:
    """Python may hand in names that a case file may not hold: dots, quotes, equals signs."""
    case = load_case(nasty_text())
    first, second, *others = case.inputs.concentrate
    worse = (
        dataclasses.replace(first, name='<img src="x" onerror=alert(1)>'),
        dataclasses.replace(second, name='=HYPERLINK("http://example.invalid";"x")'),
    )
    inputs = dataclasses.replace(case.inputs, concentrate=(*worse, *others))
    return balance(dataclasses.replace(case, inputs=inputs))
