"""The tables of a state by the part of the report they stand in, and how one reading came about, as text."""

from __future__ import annotations

from concurrent.futures import Executor
from typing import Any, Final

from pyrobal.case.load import Case
from pyrobal.live.laid import Refused
from pyrobal.names import suggestion
from pyrobal.readings import registry
from pyrobal.report.explain.absent import why_not
from pyrobal.report.explain.show import lines
from pyrobal.report.explain.story import Story
from pyrobal.report.numbers import number
from pyrobal.report.result import Result
from pyrobal.report.sections import Sections
from pyrobal.report.tables import Cell, Table

_WIDTH: Final = 88  # letters of a line


def tables(result: Result, word: str) -> dict[str, Any]:
    """The tables that ``--detail`` prints for a word, and all words there are. Raises Refused."""
    sections = Sections(result)
    if word not in sections:
        raise Refused({"": f'there is no section "{word}"; {suggestion(word, list(sections))}'})
    return {"words": list(sections), "word": word, "tables": [_table(table) for table in sections[word]]}


def _table(table: Table) -> dict[str, Any]:
    return {
        "title": table.title,
        "columns": [{"name": column.heading, "unit": column.unit} for column in table.columns],
        "rows": [[_shown(cell) for cell in row] for row in table.rows],
        "notes": list(table.notes),
    }


def _shown(cell: Cell) -> str:
    return cell if isinstance(cell, str) else number(cell)


def explained(result: Result, key: str, executor: Executor) -> dict[str, Any]:
    """How a reading came about, as ``pyrobal explain`` prints it. Raises Refused for one there is not.

    executor : another process. A trace is of a whole program, in which other threads must not work meanwhile
    """
    try:
        registry.find(key)
    except KeyError as error:
        raise Refused({"": str(error.args[0])}) from None
    if key not in result:
        raise Refused({"": why_not(result, key)})
    return {"reading": key, "lines": executor.submit(story, result.case, key).result()}


def story(case: Case, key: str) -> list[str]:
    """The lines of one explanation."""
    found = Story(case)
    return list(lines(found.explain(key), None, _WIDTH, case.file, found.sources(key)))
