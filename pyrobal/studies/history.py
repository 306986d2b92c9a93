"""A case solved with its history: every number knows what made it, back to settings, tables and constants."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import Floats
from pyrobal.dimensions import Unit, unit
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry
from pyrobal.studies.variable import Variable, variables
from pyrobal.trace.array import Traced, leaf
from pyrobal.trace.graph import Leaf, Node, Trace, tracing
from pyrobal.trace.slopes import Slopes
from pyrobal.trace.units import of as units_of

_BASE: Final = {
    "[mass]": "kg", "[length]": "m", "[time]": "s", "[substance]": "mol", "[temperature]": "K",
    "[current]": "A",
}  # fmt: skip


@functools.cache
def si_unit(plant: str) -> Unit:
    """What a plant unit measures, in base units: mol/s of Nm3/h."""
    found = unit("-")
    for name, power in dict(units.quantity(1.0, plant).dimensionality).items():
        found = found * unit(_BASE[str(name)]) ** Fraction(str(power))
    return found


@dataclass(frozen=True, eq=False)
class History:
    """One scenario, solved within a trace.

    nodes : key of each reading -> the node that holds its value, (1,) in SI
    """

    inputs: Inputs
    results: Results
    trace: Trace
    nodes: Mapping[str, Node]

    @functools.cached_property
    def _slopes(self) -> Slopes:
        return Slopes()

    def slopes_by_node(self, readings: Sequence[str]) -> dict[Node, Floats]:
        """Derivatives of readings to everything they come from: (R, *shape) by the node of each leaf, in SI.

        Raises KeyError for a reading the case does not have.
        """
        return self._slopes.of([(self.nodes[key], 0) for key in readings])


def history(inputs: Inputs) -> History:
    """Solve a case of one scenario and work out every reading, all of it traced.

    Raises ValueError where there are several scenarios.
    """
    if inputs.scenarios != 1:
        raise ValueError(f"a history is of one scenario, not of {inputs.scenarios}")
    trace = Trace()
    with tracing(trace):
        known = {variable.path: variable for variable in variables(inputs).values()}
        entered = _entered(trace, known, "", inputs)
        results = solve(entered)
        nodes = {key: _node(trace, value) for _, key, value in registry.evaluate_all(results)}
    return History(entered, results, trace, nodes)


def _entered(trace: Trace, known: Mapping[str, Variable], path: str, node: Any) -> Any:
    """A tree of settings with every number as a leaf of the trace."""
    if isinstance(node, np.ndarray):
        state, _, over = path.partition(".over.")  # of an upset: the setting it lays over the case
        variable = known.get(over or path)
        if variable is None:
            return leaf(trace, node, units_of(node), Leaf("setting", path))
        key = f"{state}.{variable.key}" if over else variable.key
        return leaf(trace, node, si_unit(variable.unit).code, Leaf("setting", key))
    if dataclasses.is_dataclass(node) and not isinstance(node, type):
        names = [f.name for f in dataclasses.fields(node) if f.init]
        return dataclasses.replace(
            node, **{name: _entered(trace, known, _below(path, name), getattr(node, name)) for name in names}
        )
    if isinstance(node, Mapping):
        return {key: _entered(trace, known, _below(path, key), value) for key, value in node.items()}
    if isinstance(node, tuple):
        return tuple(_entered(trace, known, _below(path, item.name), item) for item in node)
    return node


def _below(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _node(trace: Trace, value: Any) -> Node:
    """Of what no operation on traced numbers made, a number that was counted."""
    if type(value) is not Traced:
        value = leaf(trace, value, units_of(value), Leaf("number", "counted"))
    node: Node = value.node
    return node
