"""The same study on a Dask cluster of separate processes; a worker that is killed loses nothing."""

from __future__ import annotations

import os
import signal
import threading
import time
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
    over = {"smelting.enrichment": "40:90 %:60", "smelting.matte_grade": "60:76 %:100"}
    return prepare(load_case(SKERRY), over, ["smelting.heat.surplus", "smelting.gas.so2"], chunk=200)


@pytest.fixture(scope="module")
def serial(job: Sweep) -> list[bytes]:
    return [part.values.tobytes() for _, part in job.run()]


def test_the_numbers_are_those_of_one_process(client: object, job: Sweep, serial: list[bytes]) -> None:
    with client.get_executor() as executor:  # type: ignore[attr-defined]
        assert [part.values.tobytes() for _, part in job.run(executor)] == serial


def test_a_killed_worker_loses_nothing(client: object, job: Sweep, serial: list[bytes]) -> None:
    pids = list(client.run(os.getpid).values())  # type: ignore[attr-defined]
    assert os.getpid() not in pids

    def kill() -> None:
        time.sleep(0.3)
        os.kill(pids[0], signal.SIGKILL)

    killer = threading.Thread(target=kill)
    with client.get_executor() as executor:  # type: ignore[attr-defined]
        killer.start()
        found = [part.values.tobytes() for _, part in job.run(executor)]
    killer.join()
    assert found == serial
    assert pids[0] not in list(client.run(os.getpid).values())  # type: ignore[attr-defined]
