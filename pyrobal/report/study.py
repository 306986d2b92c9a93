"""A study of a case as one HTML file: sections of sentences, figures and tables, then the case."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pyrobal.case.load import Case
from pyrobal.report.figures.figure import Figure
from pyrobal.report.html import page, script_json
from pyrobal.report.tables import Table, headline


@dataclass(frozen=True)
class Section:
    """A heading with what stands below it; ``label`` is its word in the list of parts."""

    name: str
    label: str
    heading: str
    sentences: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()


def study_page(
    case: Case,
    subject: str,
    sections: Sequence[Section],
    content: dict[str, Any],
    made: datetime.datetime | None = None,
    plant: dict[str, Any] | None = None,
) -> str:
    """The page. ``content``: the same for programs; ``made``: the time printed on it, now unless given;
    ``plant``: pictures of plants beside each other, see ``compare_page.beside``."""
    return page(
        "study.html",
        headline(case.title),
        [figure for section in sections for figure in section.figures],
        json_text=script_json({"case": case.title, **content}),
        made=made,
        parts=[
            *((section.name, section.label) for section in sections),
            *([("plant", "Plants")] if plant else []),
            ("case", "Case"),
        ],
        plant=plant,
        subject=subject,
        sections=sections,
        case=case,
        digest=hashlib.sha256(case.text.encode()).hexdigest(),
    )
