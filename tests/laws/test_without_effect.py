"""What a case is told to be without effect moves no reading, and what is not so told moves one."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from demos import demo

from pyrobal import units
from pyrobal.arrays import BoolN, FloatN
from pyrobal.case.load import load_case
from pyrobal.case.schema import tables, written
from pyrobal.case.unused import without_effect
from pyrobal.fields import Choice, Quantity
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.readings.registry import evaluate_all

CASES = ("brae_fell", "gannet_rock", "skerry_point", "marram_sound", "thrift_ness")
KINDS: dict[str, tuple[str, ...]] = {
    "marram_sound, flotation": ("slag_cleaning.kind=flotation",),
    "marram_sound, none": ("slag_cleaning.kind=none",),
    "thrift_ness, silicate": ("converting.slag_system=silicate",),
    "thrift_ness, electric": ("slag_cleaning.kind=electric_furnace",),
    "thrift_ness, closed by enrichment": ("converting.close_heat_with=enrichment",),
}
ROUND_OFF = 1e-9  # relative, and absolute in plant units, for what is nil but for round-off
# They have an effect, only not here: a limit that is not reached, a ratio that counts beside copper metal.
BINDS_NOWHERE_HERE = {"converting.coldest_bath", "slag_cleaning.magnetite_over_equilibrium"}


def _case(name: str) -> Inputs:
    case, _, kind = name.partition(",")
    return load_case(f"cases/{case}.toml", KINDS[name]).inputs if kind else demo(case).inputs


def _in_unused(key: str, unused: dict[str, str]) -> bool:
    return any(key == other or key.startswith(f"{other}.") for other in unused)


def _numbers(inputs: Inputs) -> dict[str, tuple[Quantity, FloatN]]:
    """Settings that hold a number, with it, the items of assays and tables aside."""
    return {
        f"{key}.{name}": (declared, value)
        for key, node in tables(inputs)
        for name, declared in written(type(node)).items()
        if isinstance(declared, Quantity) and (value := getattr(node, name, None)) is not None
    }


def _read(inputs: Inputs) -> dict[str, FloatN]:
    """Every reading in plant units."""
    r = solve(inputs)
    return {key: units.display(x, reading.unit_for(r)) for reading, key, x in evaluate_all(r)}


def _moves(inputs: Inputs, numbers: dict[str, tuple[Quantity, FloatN]]) -> BoolN:
    """(K,) whether a percent more or less of each of them moves any reading; one row for each, after the case."""
    rows = len(numbers) + 1
    for k, (key, (declared, held)) in enumerate(numbers.items()):
        value = np.repeat(held, rows)
        step = 0.01 * (abs(value[0]) or 0.01)
        value[k + 1] += -step if declared.high is not None and value[0] + step > declared.high else step
        inputs = inputs.replace(key, value)
    x = np.stack([np.broadcast_to(value, (rows,)) for value in _read(inputs).values()])
    still = np.isclose(x, x[:, :1], rtol=ROUND_OFF, atol=ROUND_OFF, equal_nan=True)
    return ~still.all(axis=0)[1:]


@pytest.mark.parametrize("name", [*CASES, *KINDS])
def test_numbers_without_effect_move_nothing(name: str) -> None:
    inputs = _case(name)
    unused = without_effect(inputs)
    numbers = {key: d for key, d in _numbers(inputs).items() if _in_unused(key, unused)}
    still = ~_moves(inputs, numbers)
    assert still.all(), [key for key, x in zip(numbers, still, strict=True) if not x]


@pytest.mark.parametrize("name", ["marram_sound", "thrift_ness", *KINDS])
def test_numbers_of_slag_cleaning_and_converting_move_something_else(name: str) -> None:
    inputs = _case(name)
    unused = without_effect(inputs)
    sections = ("slag_cleaning.", "converting.")
    numbers = {
        key: d
        for key, d in _numbers(inputs).items()
        if key.startswith(sections) and not _in_unused(key, unused) and key not in BINDS_NOWHERE_HERE
    }
    moves = _moves(inputs, numbers)
    assert moves.all(), [key for key, x in zip(numbers, moves, strict=True) if not x]


def _said(inputs: Inputs, key: str, field: str, word: str) -> Inputs:
    node = getattr(inputs, key)
    return dataclasses.replace(inputs, **{key: dataclasses.replace(node, **{field: word})})


@pytest.mark.parametrize("name", ["marram_sound", "thrift_ness", "marram_sound, none"])
def test_words_without_effect_move_nothing(name: str) -> None:
    inputs = _case(name)
    unused = without_effect(inputs)
    before = _read(inputs)
    for key, node in tables(inputs):
        for field, declared in written(type(node)).items():
            if isinstance(declared, Choice) and f"{key}.{field}" in unused and hasattr(inputs, key):
                (other, *_) = (word for word in declared.options if word != getattr(node, field))
                if field == "matte_state":  # refused beside batch vessels
                    continue
                after = _read(_said(inputs, key, field, other))
                assert after.keys() == before.keys()
                x, y = np.stack([*after.values()]), np.stack([before[reading] for reading in after])
                same = np.isclose(x, y, rtol=ROUND_OFF, atol=ROUND_OFF, equal_nan=True).all(axis=1)
                assert same.all(), (
                    key,
                    field,
                    [k for k, still in zip(after, same, strict=True) if not still],
                )


@pytest.mark.parametrize(
    ("kind", "line"),
    [
        ("flotation", "slag_magnetite = '5 %'"),
        ("none", "tailings_copper = '0.3 %'"),
        ("electric_furnace", "milling_energy = '40 kWh/t'"),
        ("flotation", "reductant = 'coke'"),
    ],
)
def test_a_written_one_is_a_caution(kind: str, line: str) -> None:
    key, _, value = line.partition(" = ")
    case = load_case(
        "cases/marram_sound.toml",
        [f"slag_cleaning.kind={kind}", f"slag_cleaning.{key}={value.strip(chr(39))}"],
    )
    assert any(
        c.key == f"slag_cleaning.{key}" and c.text == f'has no effect: slag_cleaning.kind is "{kind}"'
        for c in case.cautions
    ), case.cautions


def test_what_belongs_to_the_other_converter_is_a_caution() -> None:
    batch = load_case("cases/marram_sound.toml", ["converting.cao_fe=0.4"])
    assert any('converting.kind is "batch"' in c.text for c in batch.cautions)
    continuous = load_case("cases/thrift_ness.toml", ["converting.slag_blows=2", "converting.fe_sio2=2"])
    said = {c.key: c.text for c in continuous.cautions}
    assert said["converting.slag_blows"] == 'has no effect: converting.kind is "continuous"'
    assert said["converting.fe_sio2"] == 'has no effect: converting.slag_system is "calcium_ferrite"'
