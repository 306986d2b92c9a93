"""An explanation as one HTML file: a tree to be unfolded, what moves the reading, and the sources."""

from __future__ import annotations

import datetime
import hashlib
from typing import Final

from pyrobal.report.explain.influence import influences, table
from pyrobal.report.explain.show import branches, data, sources, tree
from pyrobal.report.explain.story import Story
from pyrobal.report.html import page, script_json
from pyrobal.report.tables import headline

_DEEPEST: Final = 14  # levels
_PARTS: Final = {
    "tree": "How it came about", "moves": "What moves it", "sources": "Sources", "case": "Case",
}  # fmt: skip
_MOST: Final = 400  # equations


def explain_html(
    story: Story, key: str, depth: int | None = None, made: datetime.datetime | None = None
) -> str:
    """The page. depth : levels of the tree; made : the time printed on it, now unless given."""
    case = story.result.case
    trunk = tree(story.explain(key), depth or _DEEPEST, _MOST)
    met = list(branches(trunk))
    found = influences(story.known, key)
    moves = {one.step.name: one.change for one in found if one.step.kind == "setting"}
    return page(
        "explain.html",
        headline(case.title),
        [],
        json_text=script_json({"case": case.title, "key": key, "change_for_one_percent": moves}),
        made=made,
        parts=[
            ("tree", "How it came about"),
            ("moves", "What moves it"),
            ("sources", "Sources"),
            ("case", "Case"),
        ],
        answer=f"{trunk.head}: {trunk.step.words}",
        trunk=trunk,
        moves=table(story.known, key, found),
        sources=list(dict.fromkeys([*sources(met), *story.sources(key), *data(met)])),
        case=case,
        digest=hashlib.sha256(case.text.encode()).hexdigest(),
    )
