"""What a reading hangs on most: settings and table values by what one per cent of each does to it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.report.explain.known import Known
from pyrobal.report.explain.step import Step
from pyrobal.report.numbers import number, quantity
from pyrobal.report.tables import Column, Table, plain
from pyrobal.trace.graph import Leaf
from pyrobal.units import behind

SHARE: Final = 0.01
_ROUND_OFF: Final = 1e-9  # of the reading: a smaller change is rounding
_SHOWN: Final = 25  # settings; of table values fewer matter to anybody
_TABLES: Final = 10


@dataclass(frozen=True, eq=False)
class Influence:
    """What one per cent more of a number does to a reading, to first order.

    step : the number, a setting or a table value
    slope : d reading / d number in SI; change : of the reading, in its plant unit
    """

    step: Step
    slope: float
    change: float


def influences(known: Known, key: str) -> tuple[Influence, ...]:
    """Those of one reading, the greatest first; what does nothing is left out.

    Exact derivatives, all by one pass backwards through the balance. Raises KeyError for a reading the case
    does not have.
    """
    line = known.lines[key]
    per = abs(float(units.display(1.0, line.unit) - units.display(0.0, line.unit)))
    found = [
        Influence(step, slope, slope * per * _one_percent(known, step)) for step, slope in _slopes(known, key)
    ]
    least = _ROUND_OFF * abs(line.value)
    some = [one for one in found if math.isfinite(one.change) and abs(one.change) > least]
    return tuple(sorted(some, key=lambda one: -abs(one.change)))


def _slopes(known: Known, key: str) -> list[tuple[Step, float]]:
    """Every setting and table value with its slope; of one that is looked up twice the sum."""
    found: dict[tuple[str, str], tuple[Step, float]] = {}
    for node, slope in known.history.slopes_by_node([key]).items():
        if isinstance(node.origin, Leaf) and node.origin.kind in ("setting", "table"):
            for i in np.flatnonzero(slope[0]).tolist():
                step = known.leaf(node, i)
                _, before = found.get((step.kind, step.name), (step, 0.0))
                found[step.kind, step.name] = (step, before + float(slope[0].flat[i]))
    return list(found.values())


def _one_percent(known: Known, step: Step) -> float:
    """In SI; of a temperature one per cent of its degrees."""
    setting = known.settings.get(step.name)
    degrees = setting is not None and setting.unit == "degC"
    return SHARE * abs(float(units.display(step.value, "degC")) if degrees else step.value)


def lines(known: Known, key: str) -> Iterator[str]:
    """The text of ``pyrobal explain KEY --influence``."""
    line = known.lines[key]
    found = influences(known, key)
    yield f"{key} = {quantity(line.value, line.unit, 6)}: what one per cent more of each does to it"
    parts = (("setting", "settings and assays", _SHOWN), ("table", "values of tables", _TABLES))
    for kind, title, most in parts:
        some = [one for one in found if one.step.kind == kind]
        yield ""
        yield f"{title}: {len(some)} move it" if some else f"{title}: none moves it"
        for one in some[:most]:
            share = f" ({100.0 * one.change / abs(line.value):+.3g} %)" if line.value else ""
            change = f"{one.change:+.4g}{behind(line.unit)}{share}"
            yield f"  {change}  {plain(one.step.name)} = {_written(one.step)}"
        if len(some) > most:
            yield f"  and {len(some) - most} that do less"


def table(known: Known, key: str, found: Sequence[Influence]) -> Table:
    """All that were ``found`` of one reading."""
    line = known.lines[key]
    rows = tuple(
        (plain(one.step.name), _written(one.step), one.change, plain(_words(one.step))) for one in found
    )
    columns = (
        Column("setting or table value"),
        Column("value"),
        Column("+1 % does", line.unit.strip("-")),
        Column("meaning or source"),
    )
    return Table(
        f"What moves {key}", columns, rows, ("To first order, exactly; what does nothing is left out.",)
    )


def _written(step: Step) -> str:
    return step.shown or f"{number(step.value, 6)}{behind(step.unit)}"


def _words(step: Step) -> str:
    """The meaning of a setting, the source of a number of the tables by its key."""
    keys = (f"{source.partition(']')[0]}]" if source.startswith("[") else source for source in step.sources)
    return step.words or ", ".join(keys)
