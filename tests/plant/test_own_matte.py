"""A plant's own matte: iron and sulfur that are set, and the oxygen, metal or other matter they imply."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from plants import plant, random_plants

from pyrobal import balance
from pyrobal.case.load import load_case
from pyrobal.errors import CaseError, Reason
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.smelting.settings import HEAT_CLOSURES
from pyrobal.readings.registry import evaluate

ASSAY = {"Cu": 0.27, "Fe": 0.28, "S": 0.30, "SiO2": 0.11}  # the rest is assayed by no one
OWN = ("iron", "sulfur")


def _matte(r: Results, what: str) -> np.ndarray:
    return 100 * evaluate(r, f"smelting.matte.{what}")


def _with(**own: object) -> Results:
    return solve(plant(ASSAY, matte_grade=0.62, **{f"matte_{name}": x for name, x in own.items()}))


def _predicted() -> dict[str, float]:
    r = _with()
    found = {
        name: float(_matte(r, f"assay.{e}")[0])
        for name, e in (("iron", "Fe"), ("sulfur", "S"), ("oxygen", "O"))
    }
    return {name: x / 100 for name, x in found.items()}


@pytest.mark.parametrize("own", [("iron",), ("sulfur",), ("iron", "sulfur"), ("iron", "sulfur", "oxygen")])
def test_set_to_what_is_predicted_it_is_the_predicted_matte(own: tuple[str, ...]) -> None:
    free, told = _with(), _with(**{name: _predicted()[name] for name in own})
    assert told.smelting.matte.n == pytest.approx(free.smelting.matte.n, rel=1e-9, abs=1e-9)
    assert told.smelting.slag.n == pytest.approx(free.smelting.slag.n, rel=1e-9, abs=1e-9)


def test_little_iron_leaves_room_for_other_matter_much_is_oxide() -> None:
    iron = _predicted()["iron"] + np.array([-0.01, 0.005])
    r = _with(iron=iron)
    assert _matte(r, "assay.Fe") == pytest.approx(100 * iron, rel=1e-9)
    oxygen, other = _matte(r, "assay.O"), _matte(r, "other")
    predicted = 100 * _predicted()["oxygen"]
    assert other[0] > 1.0 and oxygen[0] == pytest.approx(predicted, rel=1e-9)
    assert other[1] == 0.0 and oxygen[1] > predicted + 1.0
    assert _matte(r, "metal") == pytest.approx([0.0, 0.0], abs=1e-12)


def test_sulfur_alone_leaves_the_rest_to_magnetite() -> None:
    sulfur = _predicted()["sulfur"] - 0.005
    r = _with(sulfur=sulfur)
    m = r.smelting.matte
    assert _matte(r, "assay.S") == pytest.approx([100 * sulfur], rel=1e-9)
    assert m.amount("FeS(l)") + m.amount("Cu2S(l)") == pytest.approx(m.element("S"), rel=1e-9)
    assert 4 * m.amount("Fe3O4(slag)") == pytest.approx(m.element("O"), rel=1e-9)


def test_sulfur_missing_beside_a_set_oxygen_is_copper_metal() -> None:
    p = _predicted()
    r = _with(iron=p["iron"] - 0.01, sulfur=p["sulfur"] - 0.015, oxygen=p["oxygen"])
    m = r.smelting.matte
    short = m.element("Cu") / 2 + m.amount("FeS(l)") - m.element("S")
    assert m.amount("Cu(l)") == pytest.approx(2 * short, rel=1e-9) and (short > 0).all()
    assert _matte(r, "metal")[0] > 1.0


def test_metal_is_what_keeps_a_full_assay_at_the_whole() -> None:
    """Iron, sulfur and grade that leave less oxygen than iron without sulfur would bind as magnetite."""
    p = _predicted()
    r = _with(iron=p["iron"] + 0.01, sulfur=p["sulfur"] - 0.005)
    total = sum(_matte(r, f"assay.{e}") for e in ("Cu", "Fe", "S", "O"))
    assert total == pytest.approx([100.0], rel=1e-9)
    assert _matte(r, "metal")[0] > 0.5 and _matte(r, "other")[0] == 0.0


@pytest.mark.parametrize("mode", HEAT_CLOSURES)
@pytest.mark.parametrize("own", [("iron",), ("sulfur",), ("iron", "sulfur"), ("iron", "sulfur", "oxygen")])
def test_every_element_and_the_heat_close(mode: str, own: tuple[str, ...]) -> None:
    n, rng = 60, np.random.default_rng(8)
    inputs = random_plants(n, seed=8)
    predicted = solve(inputs)
    near = {"iron": ("Fe", -0.006, 0.0), "sulfur": ("S", -0.012, -0.006), "oxygen": ("O", -0.001, 0.0)}
    for name in own:
        element, low, high = near[name]
        value = evaluate(predicted, f"smelting.matte.assay.{element}") + rng.uniform(low, high, n)
        inputs = inputs.replace(f"smelting.matte_{name}", np.nan_to_num(value, nan=0.1))
    smelting = dataclasses.replace(inputs.smelting, close_heat_with=mode)
    r = solve(dataclasses.replace(inputs, smelting=smelting))
    good = r.solved
    assert good.sum() > n / 6
    assert np.abs(r.smelting.ledger.element_closure()[good]).max() < 1e-9
    assert np.abs(r.smelting.ledger.heat_closure()[good]).max() < 1e-9
    for name in own:
        element, told = near[name][0], getattr(inputs.smelting, f"matte_{name}")
        assert _matte(r, f"assay.{element}")[good] == pytest.approx(100 * told[good], rel=1e-9)


@pytest.mark.parametrize(
    ("own", "why"),
    [
        ({"sulfur": 0.30}, Reason.MATTE_SULFUR_UNBOUND),
        ({"iron": 0.10, "sulfur": 0.25}, Reason.MATTE_SULFUR_UNBOUND),
        ({"iron": 0.45}, Reason.MATTE_ABOVE_WHOLE),
        ({"iron": 0.30, "sulfur": 0.21, "oxygen": 0.05}, Reason.MATTE_ABOVE_WHOLE),
        ({"iron": 0.03}, Reason.MATTE_OTHER_BEYOND_CHARGE),
        ({"iron": 0.02}, Reason.MATTE_WITHOUT_IRON_SULFIDE),
        ({"sulfur": 0.10}, Reason.MATTE_WITHOUT_IRON_SULFIDE),
    ],
)
def test_a_matte_that_cannot_be_is_a_named_limit_and_spoils_no_other(
    own: dict[str, float], why: Reason
) -> None:
    p = _predicted()
    r = _with(**{name: np.array([x, p[name]]) for name, x in own.items()})
    assert [Reason(int(x)) for x in r.reason] == [why, Reason.SOLVED]


def test_the_message_says_what_was_taken_to_be_free() -> None:
    result = balance(load_case("cases/skerry_point.toml", ["smelting.matte_iron=12.2 %"]))
    (said,) = [m.text for m in result.messages if m.key == "smelting.matte_iron"]
    assert "2.3 % O, where Matousek 1996 has 0.72 %" in said


@pytest.mark.parametrize("name", OWN)
@pytest.mark.parametrize(
    ("value", "said"), [("90 %", "too high"), ("-5 %", "negative"), ("3 kg", "%"), ("guessed", "predicted")]
)
def test_bad_values(name: str, value: str, said: str) -> None:
    with pytest.raises(CaseError, match=rf"matte_{name}.*{said}"):
        load_case("cases/skerry_point.toml", [f"smelting.matte_{name}={value}"])
