"""Three scenarios in one call are three calls of one: for every number of every demo case.

A setting alone that differs between scenarios is what a sweep makes; what the others hold is then shared, of
length 1. It is compared with rows in which nothing is shared, those of many settings stacked in one call, and
now and then with calls of one. A whole plant takes half a second for each, so that another twentieth of its
settings is asked for every day: of the case, and of the case with numbers for words those of ten days on.
"""

from __future__ import annotations

import datetime
import functools
from collections.abc import Sequence

import numpy as np
import pytest
from demos import demo

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.schema import tables, written
from pyrobal.case.unused import without_effect
from pyrobal.fields import Quantity
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.readings.registry import evaluate, evaluate_all
from pyrobal.studies.variable import Variable, variables

FURNACES = ("brae_fell", "gannet_rock", "skerry_point")
PLANTS = ("marram_sound", "thrift_ness")
EQUAL = 1e-9  # relative; absolute in plant units, for what is round-off about zero
SLICES = 20
STACK = 60  # settings, so three times as many rows, in one call

# What stands in place of a word, SI; near what the demo cases predict.
NUMBERS = {
    "smelting.slag_magnetite": 0.09, "smelting.slag_copper": 0.011, "smelting.slag_sulfur": 0.004,
    "smelting.matte_oxygen": 0.008, "converting.slag_magnetite": 0.2, "converting.slag_copper": 0.08,
    "slag_cleaning.slag_copper": 0.007, "slag_cleaning.slag_sulfur": 0.003,
    **{f"{line}_gas.steam_temperature": 560.0 for line in ("furnace", "converter", "anode")},
}  # fmt: skip
# Of its own matte the case is told a little less than it predicts, so that metal and other matter are implied.
NEAR = {
    "smelting.matte_iron": ("smelting.matte.assay.Fe", -0.005),
    "smelting.matte_sulfur": ("smelting.matte.assay.S", -0.010),
}
NEARER = {
    "marram_sound": 0.2
}  # of that difference: of so much metal its converter would find no iron to blow


@functools.cache
def _case(name: str) -> Inputs:
    return demo(name).inputs


def _words(inputs: Inputs) -> list[str]:
    """Settings that hold a word, which a number may replace."""
    return [
        f"{key}.{name}"
        for key, node in tables(inputs)
        for name, declared in written(type(node)).items()
        if isinstance(declared, Quantity) and declared.word is not None and getattr(node, name) is None
    ]


def _told(inputs: Inputs, words: Sequence[str], share: float = 1.0) -> Inputs:
    predicted = solve(inputs)
    near = {key: evaluate(predicted, NEAR[key][0])[0] + share * NEAR[key][1] for key in NEAR if key in words}
    for key in words:
        inputs = inputs.replace(key, (NUMBERS | near)[key])
    return inputs


@functools.cache
def _given(case: str) -> Inputs:
    """The case with a number for every word; it has an answer still."""
    inputs = _told(_case(case), _words(_case(case)), NEARER.get(case, 1.0))
    assert solve(inputs).solved.all()
    return inputs


def _numbers(inputs: Inputs) -> list[Variable]:
    """Settings of the case that are a number and have an effect."""
    unused = without_effect(inputs)
    numbers = [v for v in variables(inputs).values() if v.value(inputs) is not None]
    return [v for v in numbers if v.key not in unused and v.key.rpartition(".")[0] not in unused]


def _three(v: Variable, inputs: Inputs) -> FloatN:
    """The value of the case and one a percent to either side, moved to where they are allowed."""
    value = v.value(inputs)
    assert value is not None
    three = value[0] + 0.01 * (abs(value[0]) or 0.01 * min(v.high or 1.0, 1.0)) * np.array([-1.0, 0.0, 1.0])
    low, high = (-np.inf if v.low is None else v.low), (np.inf if v.high is None else v.high)
    return np.clip(three + max(low - three[0], 0.0) - max(three[2] - high, 0.0), low, high)


def _stacked(inputs: Inputs, numbers: Sequence[Variable], varied: Sequence[Variable]) -> Results:
    """Three rows for each of the settings; in them that one differs, and nothing is shared."""
    every = inputs
    for v in numbers:
        value = v.value(inputs)
        assert value is not None
        rows = np.repeat(value, 3 * len(varied))
        for k in (k for k, other in enumerate(varied) if other.path == v.path):
            rows[3 * k : 3 * k + 3] = _three(v, inputs)
        every = every.replace(v.path, rows)
    return solve(every)


def _read(r: Results) -> dict[str, FloatN]:
    """Every reading in plant units, and the reasons."""
    read = {key: units.display(x, reading.unit_for(r)) for reading, key, x in evaluate_all(r)}
    return read | {"reason": np.broadcast_to(r.reason, (r.scenarios,)).astype(float)}


def _differing(some: dict[str, FloatN], others: dict[str, FloatN], what: str) -> list[str]:
    """A line for each reading that is not the same; what a call knows nothing of, an element say, is nil."""
    x = np.stack([*some.values()])
    y = np.stack([others.get(key, np.zeros(x.shape[1])) for key in some])
    same = np.isclose(x, y, rtol=EQUAL, atol=EQUAL, equal_nan=True).all(axis=1)
    return [
        f"{what}: {key} is {x[i].tolist()} in one call, {y[i].tolist()} else"
        for i, key in enumerate(some)
        if not same[i]
    ]


def _alike(inputs: Inputs, varied: Sequence[Variable]) -> list[str]:
    """What differs between three scenarios in one call and the rows of a stack."""
    lines, numbers = [], _numbers(inputs)
    for at in range(0, len(varied), STACK):
        part = varied[at : at + STACK]
        stack = _read(_stacked(inputs, numbers, part))
        for k, v in enumerate(part):
            together = _read(solve(inputs.replace(v.path, _three(v, inputs))))
            rows = {key: x[3 * k : 3 * k + 3] for key, x in stack.items()}
            lines += _differing(together, rows, v.key)
    return lines


def _one_by_one(inputs: Inputs, v: Variable) -> list[str]:
    """What differs between three scenarios in one call and three calls of one."""
    three = _three(v, inputs)
    together = _read(solve(inputs.replace(v.path, three)))
    alone = [_read(solve(inputs.replace(v.path, three[i : i + 1]))) for i in range(3)]
    none = np.zeros(1)
    rows = {key: np.concatenate([a.get(key, none) for a in alone]) for key in together}
    return _differing(together, rows, v.key)


def _asked(whole: bool, slice_: int, varied: list[Variable]) -> list[Variable]:
    """All of them, or every twentieth from one of the first twenty on."""
    return varied if whole else varied[slice_::SLICES]


@pytest.fixture(scope="module")
def whole(request: pytest.FixtureRequest) -> bool:
    """Whether every setting is asked for, see conftest."""
    return bool(request.config.getoption("--every-setting"))


TODAY = datetime.date.today().toordinal() % SLICES  # another twentieth of the plant every day


@pytest.mark.parametrize("words", ["predicted", "given"])
@pytest.mark.parametrize("case", FURNACES)
def test_furnaces(case: str, words: str) -> None:
    inputs = _given(case) if words == "given" else _case(case)
    assert not (lines := _alike(inputs, _numbers(inputs))), "\n".join(lines)


@pytest.mark.parametrize("word", [key for key in (*NUMBERS, *NEAR) if key.startswith("smelting.")])
def test_furnaces_with_one_word_replaced(word: str, whole: bool) -> None:
    inputs = _told(_case("skerry_point"), [word])
    varied = [v for v in _numbers(inputs) if v.key.startswith(("smelting.", "site."))]
    assert not (lines := _alike(inputs, _asked(whole, TODAY, varied))), "\n".join(lines)


@pytest.mark.parametrize("case", FURNACES)
def test_calls_of_one(case: str, whole: bool) -> None:
    inputs = _case(case)
    lines = [line for v in _asked(whole, TODAY, _numbers(inputs)) for line in _one_by_one(inputs, v)]
    assert not lines, "\n".join(lines)


@pytest.mark.parametrize("words", ["predicted", "given"])
@pytest.mark.parametrize("case", PLANTS)
def test_plants(case: str, words: str, whole: bool) -> None:
    inputs, slice_ = (_given(case), TODAY + 10) if words == "given" else (_case(case), TODAY)
    varied = _asked(whole, slice_ % SLICES, _numbers(inputs))
    assert not (lines := _alike(inputs, varied)), "\n".join(lines)


def test_every_word_has_a_number() -> None:
    words = {key for case in (*FURNACES, *PLANTS) for key in _words(_case(case))}
    assert words <= {*NUMBERS, *NEAR}


GRADES, MORE = np.array([0.60, 0.55, 0.79]), np.array([1.0, 1.6, 1.0])


def _late(blows: FloatN, rows: slice) -> Results:
    """Plants of which the second has no time for all its matte and the third no answer."""
    inputs = demo("marram_sound").inputs
    fed = inputs.replace("concentrate.Fenholt.rate", MORE[rows] * inputs.concentrate[0].rate)
    blown = fed.replace("converting.slag_blows", blows)
    return solve(blown.replace("smelting.matte_grade", GRADES[rows]))


@functools.cache
def _late_alone(blows: float, k: int) -> Results:
    return _late(np.array([blows]), slice(k, k + 1))


@pytest.mark.parametrize("blows", [(3.0, 3.0, 3.0), (4.0, 3.0, 3.0)])
def test_a_plant_whose_schedule_is_too_short_stands_beside_others_as_it_does_alone(
    blows: tuple[float, ...],
) -> None:
    """Only it is worked out again, with less matte; one without that need and one without an answer stay. So
    too where another has more blows, and with them more of everything that is told by blow."""
    together = _late(np.array(blows), slice(None))
    assert together.load is not None
    assert together.load.blown[0] == 1.0 > together.load.blown[1] > 0.0
    for k, count in enumerate(blows):
        alone = _late_alone(count, k)
        beside = {key: value[k : k + 1] for key, value in _read(together).items()}
        here = _read(alone)
        assert together.reason[k] == alone.reason[0]
        assert not _differing({key: beside[key] for key in here}, here, f"scenario {k}")
