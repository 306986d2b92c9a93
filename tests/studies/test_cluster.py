"""The same study on a Dask cluster of separate processes; a worker that is killed loses nothing."""

from __future__ import annotations

import os
import signal
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

from pyrobal.case.load import load_case
from pyrobal.studies.sweep import Sweep, prepare

distributed = pytest.importorskip("distributed")
SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
ROOT = Path(__file__).parents[2]
pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore")]


@pytest.fixture(scope="module")
def client() -> Iterator[object]:
    os.environ["PYTHONPATH"] = str(ROOT)
    with (
        warnings.catch_warnings(),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        yield client


@pytest.fixture(scope="module")
def job() -> Sweep:
    over = {"smelting.enrichment": "40:90 %:60", "smelting.matte_grade": "60:76 %:50"}
    return prepare(load_case(SKERRY), over, ["smelting.heat.surplus", "smelting.gas.so2"], chunk=100)


@pytest.fixture(scope="module")
def serial(job: Sweep) -> list[bytes]:
    return [part.values.tobytes() for _, part in job.run()]


def test_the_numbers_are_those_of_one_process(client: object, job: Sweep, serial: list[bytes]) -> None:
    with client.get_executor() as executor:  # type: ignore[attr-defined]
        assert [part.values.tobytes() for _, part in job.run(executor)] == serial


def test_a_killed_worker_loses_nothing(client: object, job: Sweep, serial: list[bytes]) -> None:
    """It is killed when the first part has come: parts wait to be sent, and it holds some of those sent."""
    pids = client.run(os.getpid)  # type: ignore[attr-defined]
    assert os.getpid() not in pids.values()
    found: list[bytes] = []
    with client.get_executor() as executor:  # type: ignore[attr-defined]
        for _, part in job.run(executor):
            found.append(part.values.tobytes())
            if len(found) == 1:
                killed = kill_the_busiest(client, pids)
    assert found == serial
    assert killed not in client.run(os.getpid).values()  # type: ignore[attr-defined]


def kill_the_busiest(client: object, pids: dict[str, int]) -> int:
    """Kill the worker that has most parts, at work or done but not fetched; its process number."""
    at_work, done = client.processing(), client.has_what()  # type: ignore[attr-defined]
    parts = {address: len(at_work[address]) + len(done[address]) for address in pids}
    busiest = max(parts, key=lambda address: parts[address])
    assert parts[busiest] > 0
    os.kill(pids[busiest], signal.SIGKILL)
    return pids[busiest]
