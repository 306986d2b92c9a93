"""What a reading hangs on most: settings and table values by what one per cent of each does to it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.case.load import Case
from pyrobal.readings import registry
from pyrobal.report.numbers import number, quantity
from pyrobal.report.settings import Setting, settings
from pyrobal.studies.history import history
from pyrobal.trace.graph import Leaf, Node
from pyrobal.trace.units import text

SHARE: Final = 0.01
_ROUND_OFF: Final = 1e-9  # of the reading: a smaller change is rounding
_SHOWN: Final = 25  # settings; of table values fewer matter to anybody
_TABLES: Final = 10


@dataclass(frozen=True)
class Influence:
    """What one per cent more of a number does to a reading, to first order.

    kind : "setting" or "table"; name : key of a setting, name of a table value; value : as people write it
    change : of the reading, in its plant unit; source : of a table value
    """

    kind: str
    name: str
    value: str
    change: float
    source: str


def influences(case: Case, key: str) -> tuple[tuple[Influence, ...], float, str]:
    """Those of one reading, the greatest first, with its value and unit; what does nothing is left out.

    Exact derivatives, all by one pass backwards through the balance. Raises KeyError for a reading the case
    does not have.
    """
    told = history(case.inputs)
    if key not in told.nodes:
        raise KeyError(f"{key} has no value in this case")
    unit = registry.find(key)[0].unit_for(told.results)
    value = float(units.display(float(told.nodes[key].value[0]), unit))
    per = abs(float(units.display(1.0, unit) - units.display(0.0, unit)))
    found = [
        influence
        for node, slope in told.slopes_by_node([key]).items()
        for influence in _of_leaf(node, slope[0] * per, settings(case.inputs))
        if math.isfinite(influence.change) and abs(influence.change) > _ROUND_OFF * abs(value)
    ]
    return tuple(sorted(found, key=lambda one: -abs(one.change))), value, unit


def _of_leaf(node: Node, slope: np.ndarray, here: dict[str, Setting]) -> Iterator[Influence]:
    leaf = node.origin
    if not isinstance(leaf, Leaf) or leaf.kind not in ("setting", "table"):
        return
    setting = here.get(leaf.name)
    if leaf.kind == "setting":
        si = float(node.value.flat[0])
        shown = float(units.display(si, setting.unit)) if setting is not None else si
        one_percent = SHARE * abs(shown if setting is not None and setting.unit == "degC" else si)
        written = setting.text() if setting is not None else number(si)
        yield Influence("setting", leaf.name, written, float(slope.sum()) * one_percent, "")
        return
    for i, (value, change) in enumerate(zip(node.value.flat, slope.flat, strict=True)):
        label = leaf.labels[i * len(leaf.labels) // node.value.size] if leaf.labels else ""
        name = f"{leaf.name} of {label}" if label else leaf.name
        code = int(np.broadcast_to(node.units, node.value.shape).flat[i])
        written = f"{number(value, 6)} {text(code)}" if code > 0 else number(value, 6)
        yield Influence("table", name, written, float(change) * SHARE * abs(value), leaf.source)


def lines(case: Case, key: str) -> Iterator[str]:
    """The text of ``pyrobal explain KEY --influence``."""
    found, value, unit = influences(case, key)
    yield f"{key} = {quantity(value, unit, 6)}: what one per cent more of each does to it"
    parts = (("setting", "settings and assays", _SHOWN), ("table", "values of tables", _TABLES))
    for kind, title, most in parts:
        some = [one for one in found if one.kind == kind]
        yield ""
        yield f"{title}: {len(some)} move it" if some else f"{title}: none moves it"
        for one in some[:most]:
            share = f" ({100.0 * one.change / abs(value):+.3g} %)" if value else ""
            yield f"  {one.change:+.4g} {unit}{share}  {one.name} = {one.value}".replace(" - (", " (")
        if len(some) > most:
            yield f"  and {len(some) - most} that do less"
