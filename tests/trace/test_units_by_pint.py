"""The units that operations find, held against a library of units over the equations of the demonstration cases."""

from __future__ import annotations

import functools
import random
from typing import Any

import numpy as np
import pint
import pytest
from histories import CASES, behind, told

from pyrobal.dimensions import BASE, UNITS
from pyrobal.trace import units
from pyrobal.trace.graph import Node, number
from pyrobal.trace.rules import ELEMENTWISE, MATMUL, REDUCE

REGISTRY = pint.UnitRegistry()
SEED, MOST = 20, 1500  # equations of each case
PLAIN = (np.exp, np.log, np.log10)


@functools.cache
def _unit(code: int) -> Any:
    found = REGISTRY.Unit("")
    for base, power in zip(BASE, UNITS[code].powers, strict=True):
        found = found * REGISTRY.Unit(base) ** float(power)
    return found


def _quantity(operand: Any) -> Any:
    """One element with its unit; None where an operand has several, or one that fits all."""
    code = units.of(operand)
    if not isinstance(code, int) or code < 0:
        return None
    value = np.ravel(number(operand))
    return REGISTRY.Quantity(1.0 if value.size != 1 else float(value[0]) or 1.0, _unit(code))


def _found(node: Node, given: list[Any]) -> Any:
    with np.errstate(all="ignore"):
        if node.rule is MATMUL:
            return given[0] * given[1]
        if node.rule is REDUCE:
            return given[0] + given[0]
        if node.function is np.power:
            return given[0] ** given[1].to("dimensionless").magnitude
        if node.function in PLAIN:
            return REGISTRY.Quantity(float(node.function(abs(given[0].to("dimensionless").magnitude))), "")
        if node.function in (np.maximum, np.minimum):
            return given[0] + given[1]
        return node.function(*(abs(one) for one in given))


@pytest.mark.parametrize("case", CASES)
def test_units_are_those_of_a_library(case: str) -> None:
    nodes = [n for n in behind(*told(case).nodes.values()) if n.rule in (ELEMENTWISE, MATMUL, REDUCE)]
    checked = 0
    for node in random.Random(SEED).sample(nodes, min(MOST, len(nodes))):
        given = [_quantity(operand) for operand in node.operands]
        if isinstance(node.units, int) and node.units >= 0 and all(one is not None for one in given):
            found = _found(node, given)
            assert REGISTRY.Quantity(1.0, _unit(node.units)).check(found.dimensionality), node.place
            checked += 1
    assert checked > 700
