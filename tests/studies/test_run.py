"""A sweep gives what single balances give, whoever runs it and however it is cut into parts."""

from __future__ import annotations

import dataclasses
import os
import signal
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

import pyrobal
from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError, Reason
from pyrobal.studies import run
from pyrobal.studies.sweep import prepare, sweep

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
READ = ["smelting.heat.surplus", "smelting.fuel_heat", "smelting.matte.rate", "smelting.slag.assay.As"]
OVER = {"smelting.matte_grade": "60:82 %:12", "concentrate.Fenholt.assay.As": "0,0.2"}


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


def test_a_row_is_the_balance_of_its_settings(case: Case) -> None:
    table = sweep(case, {"smelting.enrichment": "50 %,70 %", "smelting.fe_sio2": "1.1,1.4"}, read=READ)
    for i, (enrichment, ratio) in enumerate(((50, 1.1), (50, 1.4), (70, 1.1), (70, 1.4))):
        alone = pyrobal.balance(
            load_case(SKERRY, [f"smelting.enrichment={enrichment} %", f"smelting.fe_sio2={ratio}"])
        )
        for key in READ:
            assert table[key][i] == pytest.approx(alone[key].magnitude, rel=1e-9, abs=1e-9)


def test_who_runs_it_does_not_matter_to_the_last_bit(case: Case) -> None:
    job = prepare(case, OVER, READ, chunk=5)
    alone = [part for _, part in job.run()]
    with run.processes(2) as pool:
        shared = [part for _, part in job.run(pool)]
    with ThreadPoolExecutor(3) as threads:
        threaded = [part for _, part in job.run(threads)]
    for a, b, c in zip(alone, shared, threaded, strict=True):
        assert a.values.tobytes() == b.values.tobytes() == c.values.tobytes()
        assert np.array_equal(a.reason, b.reason)
        assert np.array_equal(a.reason, c.reason)


def test_how_it_is_cut_matters_to_no_more_than_rounding(case: Case) -> None:
    whole = sweep(case, OVER, read=READ)
    parts = sweep(case, OVER, read=READ, chunk=7)
    np.testing.assert_allclose(whole.values, parts.values, rtol=1e-9, atol=1e-9)
    assert np.array_equal(whole.reason, parts.reason)


def test_no_nan_without_a_reason(case: Case) -> None:
    table = sweep(case, OVER, read=[*READ, "smelting.heat.autogenous_enrichment"])
    assert 0 < table.solved < len(table)
    lacking = np.isnan(table.values).any(axis=1)
    assert [bool(text) for text in table.reasons()] == lacking.tolist()
    assert Reason.GRADE_LEAVES_NO_IRON_SULFIDE in table.failures()


def test_an_element_that_a_part_lacks_reads_zero_there(case: Case) -> None:
    none = {f"concentrate.{name}.assay.As": "0" for name in ("Fenholt", "Marrick Dale", "Tolven")}
    table = sweep(case, none, read=["smelting.slag.assay.As"])
    assert table["smelting.slag.assay.As"][0] == 0.0


def test_the_frame_names_units_and_reasons(case: Case) -> None:
    frame = sweep(case, {"smelting.matte_grade": "64 %,85 %"}, read=READ[:2]).frame()
    assert list(frame.columns) == [
        "smelting.matte_grade [wt%]", "smelting.heat.surplus [MW]", "smelting.fuel_heat [MW]", "reason",
    ]  # fmt: skip
    assert frame["reason"].tolist() == ["", "grade_leaves_no_iron_sulfide"]


@pytest.mark.parametrize(
    ("read", "says"),
    [
        ([], "no reading is asked for"),
        (["smelting.heat.surplu"], "smelting.heat.surplus"),
        (["smelting.slag.assay.Xx"], "no value in this case"),
    ],
)
def test_a_reading_that_is_not_there_is_refused(case: Case, read: list[str], says: str) -> None:
    with pytest.raises(CaseError, match=says):
        sweep(case, {"smelting.fe_sio2": "1.2,1.3"}, read=read)


def test_a_worker_of_another_version_is_refused(case: Case) -> None:
    task = prepare(case, OVER, READ)._task(0)
    with pytest.raises(run.Mismatch, match=r"0\.0\.0"):
        run.solve_task(dataclasses.replace(task, maker="0.0.0+other"))


def test_an_error_in_a_worker_comes_out_and_ends_the_rest(case: Case) -> None:
    task = dataclasses.replace(prepare(case, OVER, READ)._task(0), maker="0.0.0+other")
    with ThreadPoolExecutor(1) as threads, pytest.raises(run.Mismatch):
        list(run.blocks([task] * 20, threads))


def test_a_killed_process_of_this_machine_loses_nothing(case: Case) -> None:
    job = prepare(case, OVER, READ, chunk=2)
    alone = [part.values.tobytes() for _, part in job.run()]
    with run.processes(2) as pool:
        answers = job.run(pool)
        found = [next(answers)[1].values.tobytes()]
        for pid in list(pool._processes):
            os.kill(pid, signal.SIGKILL)
        with pytest.warns(RuntimeWarning, match="worker was killed"):
            found += [part.values.tobytes() for _, part in answers]
    assert found == alone


def test_tasks_are_drawn_only_as_they_are_needed(case: Case) -> None:
    """Memory is flat: of a long study only a few parts exist at once."""
    drawn = []
    task = prepare(case, {"smelting.fe_sio2": "1.2"}, READ[:1])._task(0)

    def tasks():  # type: ignore[no-untyped-def]
        for i in range(40):
            drawn.append(i)
            yield task

    with ThreadPoolExecutor(2) as threads:
        answers = run.blocks(tasks(), threads)
        next(answers)
        assert len(drawn) <= 2 * 2 + 2
        assert len(list(answers)) == 39


def test_whole_plants_come_in_smaller_parts(case: Case) -> None:
    plant = load_case(SKERRY.with_name("marram_sound.toml"))
    over = {"smelting.matte_grade": "62 %:66 %:2000"}
    assert (prepare(case, over, READ).parts, prepare(plant, over, READ).parts) == (1, 2)
