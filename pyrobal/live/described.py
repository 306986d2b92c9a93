"""The case as the page meets it first: its faults, its handles, all that can be set and read in it."""

from __future__ import annotations

from concurrent.futures import Executor
from typing import Any, Final

from pyrobal.live.answer import known, limits
from pyrobal.live.handles import handles
from pyrobal.live.settings import as_written
from pyrobal.live.source import Opened
from pyrobal.report.result import Result, balance
from pyrobal.report.verdict import first_figures

CAUTION: Final = (
    "For planning and study. Molten metal, oxygen, SO2, CO and acid can kill: before the plant runs on a "
    "figure of this page, local codes and licensed practice decide."
)
# What the heat of the furnace is closed with -> the reading whose curve says how it goes.
_CURVES: Final = {
    "fuel": "smelting.fuel", "cold_charge": "smelting.cold_charge", "enrichment": "smelting.enrichment",
    "slag_temperature": "smelting.slag.temperature", "nothing": "smelting.heat.surplus",
}  # fmt: skip


def described(opened: Opened, file: str, executor: Executor | None = None) -> dict[str, Any]:
    """All the page needs before the first answer; without any good case only what is wrong with it."""
    found: dict[str, Any] = {
        "file": file,
        "digest": opened.digest,
        "faults": [{"line": f.line, "key": f.key, "text": f.text, "file": f.file} for f in opened.faults],
        "caution": CAUTION,
    }
    if opened.case is None:
        return {**found, "title": ""} | dict.fromkeys(
            ("handles", "settings", "readings", "pinned", "limits"), ()
        )
    result = balance(opened.case)
    first = [line.key for _, line in first_figures(result)]
    return {
        **found,
        "title": opened.case.title,
        "handles": handles(result, first, executor),
        "settings": list(as_written(opened.case.inputs).values()),
        "readings": known(result),
        "pinned": first,
        "curve": _curve(result, first),
        "limits": limits(result),
    }


def _curve(result: Result, first: list[str]) -> str:
    keys = {line.key for line in result.lines}
    key = _CURVES[result.case.inputs.smelting.close_heat_with]
    return key if key in keys else next(iter(first), "")
