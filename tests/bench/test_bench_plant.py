"""The whole plant, many scenarios in one call against one call each; and the march of many converter cycles."""

from __future__ import annotations

import dataclasses
import time
from typing import Any

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.plant import converting

MANY = 20_000
CYCLES = 10_000
FEW = 6


def _varied(n: int) -> Inputs:
    rng = np.random.default_rng(5)
    inputs = load_case("cases/marram_sound.toml").inputs
    inputs = dataclasses.replace(inputs, load=None)  # the search for a schedule is another question
    for concentrate in inputs.concentrate:
        inputs = inputs.replace(
            f"concentrate.{concentrate.name}.rate", concentrate.rate * rng.uniform(0.7, 1.3, n)
        )
    inputs = inputs.replace("smelting.matte_grade", rng.uniform(0.61, 0.69, n))
    return inputs.replace("smelting.enrichment", rng.uniform(0.5, 0.8, n))


@pytest.mark.benchmark(group="plant")
def test_whole_plant_in_one_call(benchmark: Any) -> None:
    inputs = _varied(MANY)
    begin = time.perf_counter()
    for i in range(FEW):
        solve(inputs.take(slice(i, i + 1)))
    single = (time.perf_counter() - begin) / FEW
    begin = time.perf_counter()
    result = benchmark.pedantic(lambda: solve(inputs), rounds=1, iterations=1)
    batch = (time.perf_counter() - begin) / MANY
    benchmark.extra_info |= {
        "scenarios": MANY,
        "ms_per_scenario": 1e3 * batch,
        "ms_one_at_a_time": 1e3 * single,
        "times_faster": single / batch,
        "solved_percent": 100 * float(result.solved.mean()),
    }
    print(f"\nplant: {benchmark.extra_info}")


@pytest.mark.benchmark(group="plant")
def test_many_cycles_in_one_call(benchmark: Any) -> None:
    r = solve(_varied(CYCLES).replace("smelting.dust", np.full(CYCLES, 0.06)))
    matte, s = r.smelting.matte_made, r.inputs.converting
    assert s is not None
    march = lambda: converting.solve(matte, (), r.feeds.silica, None, r.inputs.site, s)  # noqa: E731
    begin = time.perf_counter()
    result = benchmark.pedantic(march, rounds=1, iterations=1)
    benchmark.extra_info |= {
        "scenarios": CYCLES,
        "us_per_cycle": 1e6 * (time.perf_counter() - begin) / CYCLES,
        "solved_percent": 100 * float((result.reason == 0).mean()),
    }
    print(f"\ncycles: {benchmark.extra_info}")
