"""Whatever is in a file, the reader answers with a case or with faults, never with another error."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pyrobal.case.load import load_case
from pyrobal.errors import CaseError, Fault
from pyrobal.flowsheet.inputs import SECTIONS

GOOD = (Path(__file__).parents[2] / "cases" / "skerry_point.toml").read_text(encoding="utf-8")
MARKS = [*"=[]{}\"',.#\n\\-+ %é\x00\u202e", '"""', "[[", "]]", "[]", "{}"]
WORDS = [
    "nan",
    "inf",
    "1e999",
    "true",
    "2024-05-01",
    "9" * 400,
    "concentrate",
    "assay",
    "deportment",
    "Cu",
    "t/h",
]
PIECES = st.sampled_from([*MARKS, *WORDS])
EDITS = st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 12), PIECES), min_size=1, max_size=6)


def faults_of(text: str) -> tuple[Fault, ...]:
    try:
        load_case(text)
    except CaseError as error:
        return error.faults
    return ()


def answer(text: str) -> None:
    """It is a case, or every fault says something and stands on a line of the text."""
    lines = text.count("\n") + 1
    for fault in faults_of(text):
        assert fault.text
        assert fault.line is None or 1 <= fault.line <= lines


@given(EDITS)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_good_case_with_pieces_cut_and_pasted(edits: list[tuple[int, int, str]]) -> None:
    text = GOOD
    for at, cut, piece in edits:
        text = text[:at] + piece + text[at + cut :]
    answer(text)


@given(st.lists(st.sampled_from(GOOD.splitlines()), max_size=60))
@settings(max_examples=40, deadline=None)
def test_the_lines_of_a_good_case_in_any_order(lines: list[str]) -> None:
    answer("\n".join(lines) + "\n")


@pytest.mark.parametrize("key", ["title", *SECTIONS])
@pytest.mark.parametrize(
    "value", ["5", '"text"', "true", "[]", "[1]", "{}", "[{}]", "{a = {}}", "nan", "2024-05-01"]
)
def test_a_section_of_any_type(key: str, value: str) -> None:
    answer(f"{key} = {value}\n\n")
