"""Upsets: each is the case as if it were written so, and the year is the hours of each state."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from demos import demo, solved

from pyrobal.case.load import load_case
from pyrobal.errors import CaseError, Reason
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.readings.registry import evaluate, keys

MARRAM = (Path(__file__).parents[2] / "cases" / "marram_sound.toml").read_text(encoding="utf-8")
YEAR = 8766.0  # h
STATES = {
    "one bed out": (40.0, ["acid_plant.bypassed_bed=3"]),
    "acid plant at 60 %": (60.0, ["acid_plant.flow_limit=130000 Nm3/h"]),
    "cold start": (24.0, [f"acid_plant.bed_{k}_inlet=350 degC" for k in range(1, 5)]),
    "furnace gas to stack": (6.0, ["furnace_gas.to=stack", "smelting.dust=5 %"]),
}


def written(states: dict[str, tuple[float, list[str]]]) -> str:
    text = MARRAM
    for name, (hours, settings) in states.items():
        text += f'[upset."{name}"]\nhours = "{hours} h/a"\n'
        for key, _, value in (setting.partition("=") for setting in settings):
            text += f'{key} = "{value}"\n'
    return text


def one(r: Results, key: str) -> float:
    return float(evaluate(r, key)[0])


def test_each_state_is_the_case_written_so_and_the_year_their_hours() -> None:
    r = solve(load_case(written(STATES)).inputs)
    plain = one(r, "emissions.so2")
    year = plain * 8000.0 / YEAR
    assert one(r, "emissions.yearly_without_upsets.so2") == pytest.approx(year, rel=1e-12)
    for name, (hours, settings) in STATES.items():
        alone = solved("marram_sound", *settings)
        assert one(r, f"upset.{name}.so2") == pytest.approx(one(alone, "emissions.so2"), rel=1e-6)
        assert one(r, f"upset.{name}.so2") > 1.3 * plain
        year += hours / YEAR * (one(r, f"upset.{name}.so2") - plain)
        assert one(r, f"upset.{name}.hours") == pytest.approx(hours / YEAR)
    assert one(r, "emissions.yearly.so2") == pytest.approx(year, rel=1e-12)
    more = sum(one(r, f"upset.{name}.so2_added") for name in STATES)
    assert one(r, "emissions.yearly_without_upsets.so2") + more == pytest.approx(year, rel=1e-12)


def test_beds_that_are_not_lit_convert_nothing() -> None:
    state = solve(load_case(written({"cold start": STATES["cold start"]})).inputs).upsets["cold start"]
    assert one(state, "acid.conversion") == pytest.approx(0.0, abs=1e-12)
    fed = one(state, "acid.so2_load")
    assert one(state, "emissions.so2_from.acid_plant") == pytest.approx(fed, rel=1e-9)


def test_a_case_without_upsets_has_no_readings_of_them() -> None:
    r = solved("marram_sound")
    assert not [key for key in keys(r) if key.startswith("upset.") or "without_upsets" in key]
    yearly = one(r, "emissions.so2") * 8000.0 / YEAR
    assert one(r, "emissions.yearly.so2") == pytest.approx(yearly, rel=1e-12)


def test_what_varies_over_scenarios_varies_in_the_upsets() -> None:
    inputs = load_case(written({"one bed out": STATES["one bed out"]})).inputs
    state = evaluate(
        solve(inputs.replace("acid_plant.bed_4_approach", np.array([20.0, 60.0]))), "upset.one bed out.so2"
    )
    assert state[0] < state[1]
    hours = solve(inputs.replace("upset.one bed out.hours", np.array([0.0, 0.01])))
    more = 0.01 * (one(hours, "upset.one bed out.so2") - one(hours, "emissions.so2"))
    assert np.diff(evaluate(hours, "emissions.yearly.so2")) == pytest.approx(more, rel=1e-9)


def test_a_year_with_an_upset_that_has_no_answer_has_no_total() -> None:
    r = solve(load_case(written({"never": (1.0, ["smelting.matte_grade=79.8 %"])})).inputs)
    assert np.isnan(one(r, "emissions.yearly.so2"))
    assert np.isnan(one(r, "upset.never.so2"))
    assert np.isfinite(one(r, "emissions.yearly_without_upsets.so2"))
    assert r.solved.all()
    assert r.upsets["never"].reason[0] != Reason.SOLVED


FENHOLT = f"concentrate.{demo('marram_sound').inputs.concentrate[0].name}"
NEW = """
[[upset.rain.revert]]
name = "wet skulls"
to = "smelting"
rate = "2 t/h"
kind = "matte"
moisture = "5 %"
[upset.rain.revert.assay]
Cu = 60
Fe = 14
S = 21
"""


@pytest.mark.parametrize("form", ["item", "table", "line"])
def test_items_of_the_case_may_differ_and_new_ones_come(form: str) -> None:
    name = FENHOLT.partition(".")[2]
    hours = '[upset.rain]\nhours = "100 h/a"\n'
    head = {
        "item": f'[[upset.rain.concentrate]]\nname = "{name}"\n', "table": f'[upset.rain.concentrate."{name}"]\n',
    }  # fmt: skip
    wet = head[form] + 'moisture = "12 %"\n' if form in head else ""
    given = [] if wet else [f"upset.rain.{FENHOLT}.moisture=12 %"]
    inputs = load_case(MARRAM + hours + wet + NEW, given).inputs
    state = inputs.in_upset("rain")
    assert state.concentrate[0].moisture == pytest.approx(0.12) and len(state.concentrate) == len(
        inputs.concentrate
    )
    assert state.concentrate[0].rate == pytest.approx(inputs.concentrate[0].rate)
    assert [x.name for x in state.revert] == [*(x.name for x in inputs.revert), "wet skulls"]
    # What a sweep moves in the case moves in the upset too, but for what the upset fixes.
    moved = inputs.replace(f"{FENHOLT}.rate", 11.0).replace(f"{FENHOLT}.moisture", 0.01).in_upset("rain")
    assert moved.concentrate[0].rate == 11.0 and moved.concentrate[0].moisture == pytest.approx(0.12)
    assert solve(inputs).upsets["rain"].solved.all()


@pytest.mark.parametrize(
    ("written", "line", "said"),
    [
        ('[[upset.rain.concentrate]]\nrate = "3 t/h"', 1, "has no name"),
        ('[[upset.rain.concentrate]]\nname = "new"\nrate = "3 t/h"', 1, "assay.*missing|missing.*assay"),
        (f'[upset.rain.{FENHOLT}]\nmoisture = "3 t/h"', 2, "t/h"),
        (f'[upset.rain.{FENHOLT}]\nmoistur = "3 %"', 2, "moisture"),
        (f'[upset.rain.{FENHOLT}]\nmoisture = "300 %"', 2, "too high"),
        ('[[upset.rain.limit]]\nname = "x"', 1, "no limits of its own"),
        ("[upset.rain.concentrate]\nX = 3", 2, "number 3"),
    ],
)
def test_faults_of_items_in_an_upset_stand_where_it_is_written(written: str, line: int, said: str) -> None:
    before = MARRAM + '[upset.rain]\nhours = "100 h/a"\n'
    with pytest.raises(CaseError, match=said) as caught:
        load_case(before + written + "\n")
    assert before.count("\n") + line in [fault.line for fault in caught.value.faults]
