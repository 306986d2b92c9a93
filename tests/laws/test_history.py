"""Laws of the history of numbers, over every reading of every demonstration case.

What a trace says is held against what it did not see: values against the balance solved without a trace, units
against those that readings declare, derivatives against the implicit complex step and against settings moved.
"""

from __future__ import annotations

import functools
import random

import numpy as np
import pytest
from demos import demo, solved
from histories import CASES, behind, told

from pyrobal.readings import registry
from pyrobal.studies.history import si_unit
from pyrobal.studies.measure import reading_units
from pyrobal.studies.tangent import differences, held, tangent
from pyrobal.studies.variable import Variable, variables
from pyrobal.trace import units
from pyrobal.trace.graph import Leaf, Node, number
from pyrobal.trace.rules import ELEMENTWISE, LINEAR_SOLVE, MATMUL, MOVE, REDUCE, SOLVED, again

SEED = 20
MOST = 50  # settings moved
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
                found, value = _evaluated(node)[there], node.value[there]
                if not np.array_equal(found, value, equal_nan=True):  # to the last bit nearly always
                    np.testing.assert_allclose(found, value, rtol=1e-12)
                seen += 1
    assert seen > 3000


def _sampled(case: str, every: bool) -> tuple[list[str], list[Variable]]:
    """Thirty readings, and settings of which none is a count: its derivative jumps."""
    chance, inputs = random.Random(SEED), demo(case).inputs
    here = [v for v in variables(inputs).values() if v.value(inputs) is not None and not v.count]
    readings = chance.sample(sorted(told(case).nodes), 30)
    return readings, here if every else chance.sample(here, min(MOST, len(here)))


@functools.cache
def _slopes(case: str, every: bool) -> np.ndarray:
    """(V, R) what the history says of the settings and readings drawn, all readings in one pass."""
    readings, settings = _sampled(case, every)
    found = {
        node.origin.name: slope.reshape(len(readings), -1).sum(axis=1)
        for node, slope in told(case).slopes_by_node(readings).items()
        if isinstance(node.origin, Leaf) and node.origin.kind == "setting"
    }
    return np.stack([found.get(setting.key, np.zeros(len(readings))) for setting in settings])


def _sizes(case: str, settings: list[Variable]) -> np.ndarray:
    """(V, 1) of the values that settings have."""
    inputs = demo(case).inputs
    return np.array([[abs(float(held(inputs, setting)[0])) or 1e-2] for setting in settings])


def _round_off(case: str, readings: list[str]) -> np.ndarray:
    """(R,) what sums of the largest readings in the same unit leave; heat of a flux at 25 degC is but that."""
    values = {key: float(np.abs(node.value[0])) for key, node in told(case).nodes.items()}
    shown = reading_units(demo(case), list(values))
    largest: dict[str, float] = {}
    for key, unit in shown.items():
        largest[unit] = max(largest.get(unit, 0.0), values[key])
    return np.array([1e-15 * largest[shown[reading]] for reading in readings])


def _where(wrong: np.ndarray, settings: list[Variable], readings: list[str]) -> list[tuple[str, str]]:
    return [(settings[k].key, readings[i]) for k, i in np.argwhere(wrong)]


def test_slopes_are_the_exact_derivatives(case: str, every: bool) -> None:
    """As the imaginary step through the whole balance gives them."""
    readings, settings = _sampled(case, every)
    exact = tangent(demo(case).inputs, settings, readings)
    ours, theirs = _slopes(case, every), exact.slopes[0]
    noise = np.maximum(1e-9 * np.maximum(np.abs(exact.values[0]), 1e-2), _round_off(case, readings))
    noise = noise / _sizes(case, settings)
    wrong = np.isfinite(theirs) & ~(np.abs(ours - theirs) <= np.maximum(1e-6 * np.abs(theirs), noise))
    assert _where(wrong, settings, readings) == []


def test_settings_named_are_those_that_move_the_reading(case: str, every: bool) -> None:
    """None is missed and none named in vain, where the balance is solved anew with each of them moved."""
    readings, settings = _sampled(case, every)
    moved = differences(demo(case).inputs, settings, readings)
    sizes = _sizes(case, settings)
    value = np.abs([float(told(case).nodes[reading].value[0]) for reading in readings])
    both = np.abs([moved.below, moved.above]) * sizes
    slope = np.abs(_slopes(case, every)) * sizes
    known = np.isfinite(both).all(axis=0) & (value > ROUND_OFF)
    missed = known & ~(slope > 0.0) & (both.min(axis=0) >= CLEAR * value)
    in_vain = known & ~(slope < CLEAR * value) & (both.max(axis=0) <= 0.1 * slope)
    assert _where(missed, settings, readings) == [], "they move the reading"
    assert _where(in_vain, settings, readings) == [], "they do not move the reading"
