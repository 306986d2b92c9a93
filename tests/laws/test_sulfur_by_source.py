"""Sulfur by where it goes adds up to the sulfur fed, over random plants with limits and upsets."""

from __future__ import annotations

import functools
from pathlib import Path

import numpy as np
import pytest
from demos import demo

from pyrobal.arrays import FloatN, total
from pyrobal.case.load import load_case
from pyrobal.constants import NM3_PER_HOUR, TONNE_PER_HOUR
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.readings.registry import evaluate, keys
from pyrobal.thermo.acid_solution import M_SO2
from pyrobal.thermo.elements import ELEMENTS

CASES = Path(__file__).parents[2] / "cases"
CLOSED = 1e-9
EACH = 30
# Settings that are words, one plant after the other; limits, hours and all else are drawn at random.
PLANTS = (
    ("load.schedule=flattest", "upset.let go.furnace_gas.to=stack"),
    ("load.schedule=even", "load.vessels=3", "acid_plant.bypassed_bed=2", "upset.let go.acid_plant.beds=2/2"),
    ("load.schedule=limited", "acid_plant.bypassed_bed=4", "acid_plant.beds=4", "upset.let go.load.schedule=even"),
    (
        "load.schedule=given", "load.start_2=1 h", "acid_plant.catalyst=caesium",
        "upset.let go.acid_plant.bypassed_bed=1", "upset.let go.acid_plant.flow_limit=90000 Nm3/h",
    ),
)  # fmt: skip


@functools.cache
def plants(words: tuple[str, ...]) -> Results:
    rng = np.random.default_rng(len(str(words)))
    given = [
        "acid_plant.flow_limit=1 Nm3/h",
        "acid_plant.so2_limit=1 t/h",
        "upset.let go.hours=1 h/a",
        *words,
    ]
    inputs = demo("marram_sound", *given).inputs
    for concentrate in inputs.concentrate:
        key = f"concentrate.{concentrate.name}.rate"
        inputs = inputs.replace(key, concentrate.rate * rng.uniform(0.7, 1.2, EACH))
    for key, low, high in (
        ("smelting.matte_grade", 0.60, 0.69),
        ("gas_train.so2_highest", 0.09, 0.14),
        ("acid_plant.bed_1_inlet", 655.0, 695.0),
        ("acid_plant.flow_limit", 1e5 * NM3_PER_HOUR, 3e5 * NM3_PER_HOUR),
        ("acid_plant.so2_limit", 40 * TONNE_PER_HOUR, 120 * TONNE_PER_HOUR),
        ("emissions.tail_scrubbing", 0.0, 0.9),
        ("upset.let go.hours", 0.0, 0.1),
    ):
        inputs = inputs.replace(key, rng.uniform(low, high, EACH))
    return solve(inputs)


@pytest.mark.parametrize("words", PLANTS)
def test_sulfur_by_source_adds_up(words: tuple[str, ...]) -> None:
    r = plants(words)
    assert r.solved.mean() > (0.15 if "load.schedule=limited" in words else 0.95)
    assert r.upsets["let go"].solved.mean() > 0.95
    for state in (r, r.upsets["let go"]):
        _closes(state)


def _closes(r: Results) -> None:
    """In one state: over the plant as a whole, and over each of its steps."""
    solved = r.solved
    fed, out = r.ledger.elements_in()[:, ELEMENTS.index("S")], 0.0
    for entry in r.ledger.outputs.values():
        out = out + entry.elements[:, ELEMENTS.index("S")]
    np.testing.assert_allclose(np.broadcast_to(out, fed.shape)[solved], fed[solved], rtol=CLOSED)
    for step, ledger in r.ledgers().items():
        assert np.abs(ledger.element_closure()[solved]).max() < CLOSED, step


@pytest.mark.parametrize("words", PLANTS)
def test_the_year_is_the_sources_of_each_state_for_its_hours(words: tuple[str, ...]) -> None:
    r = plants(words)
    upset = r.upsets["let go"]
    hours, operating = r.inputs.upset["let go"].hours, r.inputs.site.operating_time
    year = _by_source(r) * (operating - hours) + _by_source(upset) * hours
    solved = r.solved & upset.solved
    np.testing.assert_allclose(year[solved], evaluate(r, "emissions.yearly.so2")[solved], rtol=CLOSED)
    differs = evaluate(upset, "emissions.so2")[solved] != evaluate(r, "emissions.so2")[solved]
    assert differs.mean() > 0.3  # a schedule within limits is of no account where none binds


def _by_source(r: Results) -> FloatN:
    """(N,) [kg/s] SO2, the sources added up."""
    return total(evaluate(r, key) for key in keys(r) if key.startswith("emissions.so2_from."))


@pytest.mark.parametrize("words", PLANTS)
def test_what_goes_by_is_emitted_and_not_made_to_acid(words: tuple[str, ...]) -> None:
    r = plants(words)
    solved = r.solved
    np.testing.assert_allclose(_by_source(r)[solved], evaluate(r, "emissions.so2")[solved], rtol=CLOSED)
    by = evaluate(r, "emissions.so2_from.bypass")
    fed = r.ledger.elements_in()[:, ELEMENTS.index("S")] * M_SO2
    at_boundary = [k for k in keys(r) if k == "deportment.S.gas_train.bypass.stack_gas"]
    if at_boundary:
        np.testing.assert_allclose(by[solved], (evaluate(r, at_boundary[0]) * fed)[solved], rtol=1e-7)
    limit = r.inputs.acid_plant
    assert limit is not None and limit.flow_limit is not None and limit.so2_limit is not None
    flow, so2 = (r.acid_plant.course.feed.flow.max(axis=1), r.acid_plant.course.feed.so2.max(axis=1))
    assert (flow[solved] <= limit.flow_limit[solved] * (1 + 1e-9)).all()
    assert (so2[solved] * M_SO2 <= limit.so2_limit[solved] * (1 + 1e-9)).all()
    if "load.schedule=limited" in words:
        np.testing.assert_allclose(by[solved], 0.0, atol=1e-9)
    else:
        assert (by[solved] > 0).mean() > 0.5


@pytest.mark.parametrize(
    ("case", "sections"),
    [
        ("skerry_point", ""),
        ("skerry_point", "[converting]\n"),
        ("skerry_point", "[converting]\n[anode_furnace]\n"),
    ],
)
def test_without_a_gas_train_too(case: str, sections: str) -> None:
    """What the dust takes up of the gas and brings back is not emitted."""
    text = (CASES / f"{case}.toml").read_text(encoding="utf-8")
    inputs = load_case(text + f"\n{sections}[emissions]\n").inputs
    r = solve(inputs.replace("smelting.dust_sulfation", np.array([0.0, 0.4, 1.0])))
    assert r.solved.all() and r.emissions is not None
    sulfur = ELEMENTS.index("S")
    kept = ("matte", "slag", "blister", "anodes", "dust", "copper")
    out = sum(
        e.elements[:, sulfur]
        for name, e in r.ledger.outputs.items()
        if name.rpartition(".")[2].endswith(kept)
    )
    emitted = r.emissions.rate("so2") / M_SO2
    np.testing.assert_allclose(out + emitted, r.ledger.elements_in()[:, sulfur], rtol=CLOSED)
