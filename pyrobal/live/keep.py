"""A state of the page to keep: the case with its comments, the report, the JSON, the command lines."""

from __future__ import annotations

import dataclasses
import shlex
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from pyrobal.case.blend import BLEND_RATE
from pyrobal.case.load import Case, case_of
from pyrobal.case.lots import with_lots
from pyrobal.case.override import spoken
from pyrobal.case.read import read
from pyrobal.case.tuned import Change, tuned
from pyrobal.errors import CaseError
from pyrobal.live.asked import Asked
from pyrobal.live.curves import axes
from pyrobal.live.laid import Refused, laid
from pyrobal.live.settings import Settings
from pyrobal.live.source import Opened
from pyrobal.report.export import as_json
from pyrobal.report.html import as_html
from pyrobal.report.result import Result

_SAME: Final = 1e-9  # relative; a rate of the blend is written in its parts


@dataclass(frozen=True)
class Download:
    """A file for the person to keep; nothing is written here."""

    name: str
    kind: str
    content: str


def keep(opened: Opened, result: Result, asked: Asked) -> Download | dict[str, Any]:
    """What is asked to be kept. Raises Refused for what cannot be."""
    if asked.what == "commands":
        return {"lines": commands(opened, result, asked)}
    if asked.what not in _FILES:
        raise Refused(
            {"": f"{asked.what or 'nothing'} cannot be kept; case, report, json or commands can"}, {}
        )
    ending, kind, content = _FILES[asked.what]
    stem = "".join(
        c if c.isascii() and (c.isalnum() or c in "-_") else "_" for c in Path(result.case.file).stem
    )
    return Download(f"{stem or 'case'}_live.{ending}", kind, content(result))


def written(case: Case) -> str:
    """The text of the file with what is laid over it written in its places, comments kept.

    Raises Refused where the text does not give the same case.
    """
    try:
        text = tuned(case.text, {key: Change(value) for key, value in _changes(case)})
        again = case_of(with_lots(dataclasses.replace(read(text), file=case.file)))
    except CaseError as error:
        raise Refused({"": f"these changes cannot be written into the file: {error}"}, {}) from None
    if not _alike(case, again):
        raise Refused({"": "these changes cannot be written into the file; use the command line instead"}, {})
    return text


def commands(opened: Opened, result: Result, asked: Asked) -> list[str]:
    """What gives the same on the command line: the balance, which is printed and written as a report; and the
    window of two settings, where that is asked for."""
    case = laid(opened, asked)
    file = "CASE.toml" if case.file == "-" else case.file
    held = [word for one in asked.holds for word in ("--aim", f"{one.reading}={one.value}", "--by", one.by)]
    laid_over = [word for one in case.overrides for word in ("--set", one)]
    report = str(Path(file).with_suffix(".html"))
    lines = [["balance", file, *laid_over, *held, "--html", report]]
    if asked.x and asked.y:
        x, y = (f"{key}={span}" for key, span in axes(opened, result, asked))
        lines.append(["window", file, *laid_over, *held, "--x", x, "--y", y])
    return [shlex.join(["pyrobal", *words]) for words in lines]


def _changes(case: Case) -> Iterable[tuple[str, str | float]]:
    """Key and value as the file has it; of the whole blend its parts."""
    for one in case.overrides:
        key, _, text = (part.strip() for part in one.partition("="))
        if key == BLEND_RATE:
            yield from _rates(case)
        else:
            yield key, spoken(text)


def _rates(case: Case) -> Iterable[tuple[str, str]]:
    settings = Settings(case.inputs)
    for key in ("charge.rate", *(f"concentrate.{c.name}.rate" for c in case.inputs.concentrate)):
        value = settings.held(key)
        if value is not None:
            yield key, settings.numbers[key].text(value, 12)


def _alike(one: Case, other: Case) -> bool:
    """Whether two cases have the same words and, but for round-off, the same numbers."""
    a, b = dict(one.inputs.arrays()), dict(other.inputs.arrays())
    words = Settings(one.inputs).words == Settings(other.inputs).words
    return words and a.keys() == b.keys() and all(np.allclose(a[k], b[k], rtol=_SAME, atol=0.0) for k in a)


_FILES: Final[dict[str, tuple[str, str, Callable[[Result], str]]]] = {
    "case": ("toml", "application/toml", lambda result: written(result.case)),
    "report": ("html", "text/html", as_html),
    "json": ("json", "application/json", lambda result: as_json(result.case, result.results)),
}
