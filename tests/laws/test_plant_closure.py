"""Conservation at the plant boundary, whatever steps it has and wherever things go back."""

from __future__ import annotations

import dataclasses
import functools
import itertools

import numpy as np
import pytest
from demos import demo

from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import OPTIONAL, Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.feed import RevertSettings
from pyrobal.readings.registry import evaluate, evaluate_all
from pyrobal.thermo.elements import ELEMENTS

CLOSED = 1e-9  # relative, every element: what the product promises
N = 12


def _inputs(case: str, **changes: object) -> Inputs:
    return dataclasses.replace(demo(case).inputs, **changes)


def _varied(case: str) -> Inputs:
    """Blend, grade, blast, slag and dust at random about the case."""
    inputs, rng = _inputs(case), np.random.default_rng(1)
    for concentrate in inputs.concentrate:
        inputs = inputs.replace(
            f"concentrate.{concentrate.name}.rate", concentrate.rate * rng.uniform(0.6, 1.4, N)
        )
    for key, low, high in (
        ("smelting.matte_grade", 0.60, 0.70), ("smelting.enrichment", 0.45, 0.85), ("smelting.fe_sio2", 1.1, 1.5),
        ("smelting.dust", 0.02, 0.09), ("smelting.dust_return", 0.3, 1.0), ("smelting.heat_loss", 8e6, 16e6),
    ):  # fmt: skip
        inputs = inputs.replace(key, rng.uniform(low, high, N))
    return inputs


@functools.cache
def _together(case: str) -> Results:
    return solve(_varied(case))


def _closure(r: Results) -> float:
    return float(np.abs(r.ledger.element_closure()[r.solved]).max())


@pytest.mark.parametrize("case", ["marram_sound", "thrift_ness"])
def test_every_element_closes_at_the_boundary(case: str) -> None:
    r = _together(case)
    assert r.solved.mean() > 0.7, [Reason(int(x)).name for x in r.reason]
    assert _closure(r) < CLOSED
    assert np.abs(evaluate(r, "balance.heat.closure")[r.solved]).max() < CLOSED
    assert r.recycle is not None and r.recycle.change[r.solved].max() < CLOSED


@pytest.mark.parametrize("to", ["slag_blow", "copper_blow", "anode_furnace"])
def test_copper_scrap_closes_wherever_it_goes(to: str) -> None:
    """And whatever it is charged to, the anodes are heavier by it."""
    inputs = _inputs("marram_sound")
    at = {"to": "anode_furnace"} if to == "anode_furnace" else {"to": "converting", "stage": to}
    rate = np.array([0.0, 0.3])  # kg/s
    assay = {"Cu": np.array([0.99]), "Ag": np.array([1e-4]), "Pb": np.array([2e-3])}
    scrap = RevertSettings(name="bundles", rate=rate, kind="copper_scrap", assay=assay, **at)
    r = solve(dataclasses.replace(inputs, revert=(*inputs.revert, scrap)))
    assert r.solved.all() and _closure(r) < CLOSED
    assert np.abs(evaluate(r, "balance.heat.closure")).max() < CLOSED
    assert r.anode_furnace is not None
    made = r.anode_furnace.copper.element("Cu") * 0.063546
    assert made[1] - made[0] == pytest.approx(
        0.3 * 0.99, rel=0.25
    )  # more goes round as anode scrap, a little as slag


LATER = [name for name in OPTIONAL if name not in ("dryer", "load")]


@pytest.mark.parametrize(
    "missing", [*LATER, "converting+anode_furnace+electrorefining", "gas_train+acid_plant+emissions"]
)
def test_a_plant_without_some_of_its_sections_still_closes(missing: str) -> None:
    gone = dict.fromkeys(missing.split("+"))
    r = solve(_inputs("marram_sound", **gone))
    assert r.solved.all(), [Reason(int(x)).name for x in r.reason]
    assert _closure(r) < CLOSED
    for _, key, value in evaluate_all(r):  # every reading that is offered has a value or says why not
        assert np.isfinite(value).all() or "autogenous" in key or "limit" in key, key


@pytest.mark.parametrize(
    ("slag", "dust", "skim"),
    list(
        itertools.product(
            ("slag_cleaning", "smelting", "discard"), ("smelting", "discard"), ("converting", "discard")
        )
    ),
)
def test_ways_back_close(slag: str, dust: str, skim: str) -> None:
    inputs = _inputs("marram_sound")
    ways = dataclasses.replace(inputs.recycle, converting_slag=slag, converting_dust=dust, anode_slag=skim)
    r = solve(dataclasses.replace(inputs, recycle=ways))
    assert r.solved.all() and _closure(r) < CLOSED


@pytest.mark.parametrize("kind", ["flotation", "none"])
def test_kinds_of_slag_cleaning_close(kind: str) -> None:
    inputs = _inputs("marram_sound")
    assert inputs.slag_cleaning is not None
    r = solve(dataclasses.replace(inputs, slag_cleaning=dataclasses.replace(inputs.slag_cleaning, kind=kind)))
    assert r.solved.all() and _closure(r) < CLOSED


def test_one_plant_alone_is_the_same_as_in_the_batch() -> None:
    batch, together = _varied("marram_sound"), _together("marram_sound")
    for i in np.flatnonzero(together.solved)[[0, -1]]:
        alone = solve(batch.take(slice(i, i + 1)))
        for key in ("smelting.matte.rate", "converting.blister.rate", "acid.production", "recovery.Cu"):
            np.testing.assert_allclose(evaluate(alone, key)[0], evaluate(together, key)[i], rtol=1e-8)


def test_a_plant_without_an_answer_leaves_the_others_as_they_were() -> None:
    """To round-off: products of matrices may be summed in another order when fewer rows are left."""
    good = _varied("marram_sound")
    grade = np.array(good.smelting.matte_grade)
    grade[4] = 0.95
    spoilt, clean = solve(good.replace("smelting.matte_grade", grade)), _together("marram_sound")
    others = np.arange(N) != 4
    assert spoilt.reason[4] == Reason.GRADE_LEAVES_NO_IRON_SULFIDE
    for key in ("smelting.slag.rate", "converting.blister.rate", "acid.production"):
        np.testing.assert_allclose(evaluate(spoilt, key)[others], evaluate(clean, key)[others], rtol=1e-9)


def test_recycles_change_the_furnace() -> None:
    """Converter slag put back into the furnace brings its iron and copper with it."""
    inputs = _inputs("marram_sound")
    back = solve(
        dataclasses.replace(inputs, recycle=dataclasses.replace(inputs.recycle, converting_slag="smelting"))
    )
    away = solve(
        dataclasses.replace(inputs, recycle=dataclasses.replace(inputs.recycle, converting_slag="discard"))
    )
    assert evaluate(back, "smelting.slag.rate")[0] > 1.05 * evaluate(away, "smelting.slag.rate")[0]
    assert evaluate(back, "recovery.Cu")[0] > evaluate(away, "recovery.Cu")[0]


def test_manganese_and_titanium_go_to_the_slag_and_cadmium_to_the_dust() -> None:
    """Each through every step, closed at the boundary like the others."""
    inputs = _inputs("marram_sound")
    first = inputs.concentrate[0]
    assay = {**first.assay, "Mn": np.array([0.002]), "TiO2": np.array([0.003]), "Cd": np.array([3e-4])}
    r = solve(
        dataclasses.replace(
            inputs, concentrate=(dataclasses.replace(first, assay=assay), *inputs.concentrate[1:])
        )
    )
    assert r.solved.all() and _closure(r) < CLOSED
    entry = r.ledger.elements_in()[0]
    out = {name: e.elements[0] for name, e in r.ledger.outputs.items()}
    for element in ("Mn", "Ti"):
        i = ELEMENTS.index(element)
        assert out["slag_cleaning.slag"][i] / entry[i] > 0.95
    s = r.smelting
    assert s.dust.element("Cd") + s.gas.element("Cd") > 3 * (s.matte.element("Cd") + s.slag.element("Cd"))
