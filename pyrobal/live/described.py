"""The case as the page meets it first: its faults, its handles, all that can be set and read in it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from pyrobal.live.answer import limits, offered_readings
from pyrobal.live.handles import Reach, handles
from pyrobal.live.settings import Settings
from pyrobal.live.source import Opened
from pyrobal.report.result import Result
from pyrobal.report.verdict import first_figures, uses
from pyrobal.streams.assay import ASSAY_NAMES
from pyrobal.streams.mineralogy import MINERAL_NAMES

_PINNED: Final = 8
CAUTION: Final = (
    "For planning and study. Molten metal, oxygen, SO2, CO and acid can kill: before the plant runs on a "
    "figure of this page, local codes and licensed practice decide."
)
# What the heat of the furnace is closed with -> the reading whose curve says how it goes.
_CURVES: Final = {
    "fuel": "smelting.fuel_heat", "cold_charge": "smelting.cold_charge", "enrichment": "smelting.enrichment",
    "slag_temperature": "smelting.slag.temperature", "nothing": "smelting.heat.surplus",
}  # fmt: skip


def described(
    opened: Opened, file: str, result: Result | None, ranked: Sequence[Reach] | None
) -> dict[str, Any]:
    """All the page needs before the first answer; without any good case only what is wrong with it.

    result : of the case as the file has it; None without a good case
    ranked : settings by sensitivity; None while that is not known yet, and ``complete`` then says so
    """
    found: dict[str, Any] = {
        "file": file,
        "digest": opened.digest,
        "faults": [{"line": f.line, "key": f.key, "text": f.text, "file": f.file} for f in opened.faults],
        "caution": CAUTION,
        "complete": ranked is not None,
    }
    if result is None:
        return {**found, "title": ""} | dict.fromkeys(
            ("handles", "settings", "readings", "pinned", "limits"), ()
        )
    curve, first = _curve(result), pinned(result)
    return {
        **found,
        "title": result.case.title,
        "handles": handles(result.case.inputs, ranked or ()),
        "settings": Settings(result.case.inputs, result.case.given).described(),
        "readings": offered_readings(result.told),
        "concentrates": [c.name for c in result.case.inputs.concentrate],
        "fed_by": "rate" if result.case.inputs.charge.rate is None else "share",
        "minerals": list(MINERAL_NAMES),
        "assay": list(ASSAY_NAMES),
        "pinned": first,
        "curve": curve or next(iter(first), ""),
        "limits": limits(result),
    }


def pinned(result: Result) -> list[str]:
    """The readings shown from the start: those asked for first, how the heat is closed, what is limited."""
    first = [line.key for _, line in first_figures(result)]
    limited = [use.line.key for use in uses(result)]
    return list(dict.fromkeys(filter(None, (_curve(result), *first, *limited))))[:_PINNED]


def _curve(result: Result) -> str:
    """The reading whose curve says how the heat goes; "" in a plant without a furnace."""
    key = _CURVES[result.case.inputs.smelting.close_heat_with]
    return key if any(line.key == key for line in result.lines) else ""
