"""Laws of the history of numbers, over every reading of every demonstration case.

What a trace says is held against what it did not see: values against the balance solved without a trace, units
against those that readings declare, derivatives against the implicit complex step and against settings moved.
"""

from __future__ import annotations

import random

import numpy as np
import pytest
from demos import demo, solved
from histories import CASES, behind, told

from pyrobal.readings import registry
from pyrobal.studies.history import si_unit
from pyrobal.studies.tangent import differences, tangent
from pyrobal.studies.variable import Variable, variables
from pyrobal.trace import units
from pyrobal.trace.graph import Leaf, Node, number
from pyrobal.trace.rules import ELEMENTWISE, LINEAR_SOLVE, MATMUL, MOVE, REDUCE, SOLVED, again

SEED = 20
MOST = {"thrift_ness": 12, "marram_sound": 5}  # settings moved; of the others 50
ROUND_OFF = 1e-12  # SI: below it a reading is what is left of a difference
CLEAR = 1e-5  # of the value, by as much of the setting: a change that is no round-off


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def every(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--every-setting"))


def test_values_are_those_of_the_balance(case: str) -> None:
    """But for what round-off leaves of a difference of values of that unit."""
    with np.errstate(all="ignore"):
        plain = {key: (r.unit_for(solved(case)), x) for r, key, x in registry.evaluate_all(solved(case))}
    assert told(case).nodes.keys() == plain.keys()
    largest: dict[str, float] = {}
    for unit, value in plain.values():
        largest[unit] = max(largest.get(unit, 0.0), float(np.nan_to_num(np.abs(value)).max()))
    for key, (unit, value) in plain.items():
        noise = 1e-12 * largest[unit]
        np.testing.assert_allclose(told(case).nodes[key].value, value, rtol=1e-9, atol=noise, err_msg=key)


def test_every_equation_is_dimensionally_sound(case: str) -> None:
    assert [str(complaint) for complaint in told(case).trace.complaints] == []


def test_every_reading_has_the_unit_it_declares(case: str) -> None:
    for reading, key, value in registry.evaluate_all(solved(case)):
        code = np.ravel(told(case).nodes[key].units)[0]
        nothing = code == units.ANY and not value.any()
        assert nothing or code == si_unit(reading.unit_for(solved(case))).code, key


def test_no_number_is_without_a_unit(case: str) -> None:
    for node in behind(*told(case).nodes.values()):
        codes = np.broadcast_to(node.units, node.value.shape)
        assert (codes != units.NONE).all(), node.place
        free = (codes == units.ANY) & (node.value != 0) & _worked_out(node)
        assert not np.isfinite(node.value[free]).any(), node.place


def test_every_reading_leads_to_settings_tables_or_constants(case: str) -> None:
    """But what is a count of moments, or where there is nothing."""
    for key, node in told(case).nodes.items():
        if isinstance(node.origin, Leaf) and node.origin.kind == "number":
            assert "time_" in key or not node.value.any(), key
    ends = {node.origin.kind for node in behind(*told(case).nodes.values()) if isinstance(node.origin, Leaf)}
    assert ends == {"setting", "table", "formula", "number", "unknown"}


def _worked_out(node: Node) -> np.ndarray:
    """Where an operation was asked for: elsewhere its place is taken by another value in the next node."""
    there = (node.options or {}).get("where", True) if node.rule is ELEMENTWISE else True
    return np.broadcast_to(there, node.value.shape)


def _evaluated(node: Node) -> np.ndarray:
    values = [number(operand) for operand in node.operands]
    assert node.function is not None
    if node.rule is MOVE:
        return np.asarray(again(node, lambda k: values[k]))
    if node.rule is REDUCE:
        return np.asarray(node.function.reduce(values[0], **(node.options or {})))
    return np.asarray(node.function(*values))


def test_the_value_of_each_node_is_that_of_its_equation(case: str) -> None:
    seen = 0
    with np.errstate(all="ignore"):
        for node in behind(*told(case).nodes.values()):
            if node.rule is SOLVED:
                _, equations = node.operands
                assert np.abs(equations.value[np.isfinite(equations.value)]).max(initial=0.0) < 1e9
            if node.rule in (ELEMENTWISE, MOVE, REDUCE, MATMUL, LINEAR_SOLVE):
                there = _worked_out(node)
                np.testing.assert_allclose(_evaluated(node)[there], node.value[there], rtol=1e-12)
                seen += 1
    assert seen > 3000


def _sampled(case: str, every: bool) -> tuple[list[str], list[Variable]]:
    """Thirty readings, and settings of which none is a count: its derivative jumps."""
    chance, inputs = random.Random(SEED), demo(case).inputs
    here = [v for v in variables(inputs).values() if v.value(inputs) is not None and not v.count]
    readings = chance.sample(sorted(told(case).nodes), 30)
    return readings, here if every else chance.sample(here, min(MOST.get(case, 50), len(here)))


def _size(case: str, setting: Variable) -> float:
    value = setting.value(demo(case).inputs)
    assert value is not None
    return abs(float(value[0])) or 1e-2


def test_slopes_are_the_exact_derivatives(case: str, every: bool) -> None:
    """As the imaginary step through the whole balance gives them."""
    readings, settings = _sampled(case, every)
    exact = tangent(demo(case).inputs, settings, readings)
    found = {
        leaf.name: slope for leaf, slope in told(case).slopes(readings).items() if leaf.kind == "setting"
    }
    for i, reading in enumerate(readings):
        for k, setting in enumerate(settings):
            ours = float(found[setting.key][i].sum()) if setting.key in found else 0.0
            theirs = exact.slopes[0, k, i]
            if np.isfinite(theirs):
                noise = 1e-9 * max(abs(exact.values[0, i]), 1e-2) / _size(case, setting)
                assert ours == pytest.approx(theirs, rel=1e-6, abs=noise), (reading, setting.key)


def test_settings_named_are_those_that_move_the_reading(case: str, every: bool) -> None:
    """None is missed and none named in vain, where the balance is solved anew with each of them moved."""
    readings, settings = _sampled(case, every)
    moved = differences(demo(case).inputs, settings, readings)
    for i, reading in enumerate(readings):
        named, value = told(case).settings(reading), abs(float(told(case).nodes[reading].value[0]))
        for k, setting in enumerate(settings):
            both = np.abs([moved.below[k, i], moved.above[k, i]]) * _size(case, setting)
            slope = abs(named.get(setting.key, 0.0)) * _size(case, setting)
            if np.isfinite(both).all() and value > ROUND_OFF:
                assert slope > 0.0 or both.min() < CLEAR * value, f"{setting.key} moves {reading}"
                assert slope < CLEAR * value or both.max() > 0.1 * slope, (
                    f"{setting.key} does not move {reading}"
                )
