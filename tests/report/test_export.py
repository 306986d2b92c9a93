"""JSON follows its published schema; CSV opens as numbers and never as formulas."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from pyrobal.report.export import as_csv, as_dict, as_json, harmless
from pyrobal.report.result import Result
from pyrobal.report.sections import Sections
from pyrobal.report.tables import every_reading, messages
from pyrobal.units import KINDS

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "result.schema.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def validator() -> Any:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    return jsonschema.Draft202012Validator(SCHEMA)


@pytest.mark.parametrize("name", ["skerry", "infeasible", "nasty"])
def test_json_follows_the_schema(name: str, validator: Any, request: pytest.FixtureRequest) -> None:
    result: Result = request.getfixturevalue(name)
    written = json.loads(as_json(result.case, result.results))
    validator.validate(written)
    assert list(written["readings"]) == list(result)
    assert written["status"] == result.status


def test_the_schema_is_not_empty_words(skerry: Result, validator: Any) -> None:
    """Each of these breaks the form, and the schema says so."""
    good = as_dict(skerry)
    key = next(iter(good["readings"]))
    for broken in (
        {**good, "status": "fine"},
        {**good, "extra": 1},
        {**good, "readings": {key: {"value": None, "unit": "t/h"}}},
        {**good, "readings": {key: {"value": 1.0, "unit": "t/h", "reason": "?"}}},
        {**good, "readings": {key: {"value": "1", "unit": "t/h"}}},
        {**good, "messages": [{"level": "loud", "key": "", "text": "x"}]},
    ):
        assert not validator.is_valid(broken)


def test_values_are_not_rounded_and_units_are_of_the_vocabulary(skerry: Result) -> None:
    written = json.loads(as_json(skerry.case, skerry.results))["readings"]
    spellings = {spelling for group in KINDS.values() for spelling in group}
    for line in skerry.lines:
        assert written[line.key]["value"] == (None if math.isnan(line.value) else line.value)
        assert written[line.key]["unit"] in spellings


def test_csv_has_units_below_the_headings_and_exact_numbers(skerry: Result) -> None:
    table = Sections(skerry)["deportment"][0]
    headings, units, *rows = list(csv.reader(io.StringIO(as_csv(table))))
    assert headings == [c.heading for c in table.columns]
    assert units == [c.unit for c in table.columns]
    assert [float(x) for x in rows[0][1:]] == list(table.rows[0][1:])
    flat = list(csv.reader(io.StringIO(as_csv(every_reading(skerry.lines)))))
    assert len(flat) == len(skerry) + 1


def test_csv_runs_no_formula(nasty: Result) -> None:
    for table in (messages(nasty), *(t for group in Sections(nasty).values() for t in group)):
        for row in csv.reader(io.StringIO(as_csv(table))):
            for cell in row:
                plain_number = cell.lstrip("-").replace(".", "").replace("e-", "").isdigit()
                assert plain_number or cell == "-" or not cell.startswith(("=", "+", "-", "@"))
    assert harmless("=1+1") == "'=1+1"
    assert harmless("-") == "-"
