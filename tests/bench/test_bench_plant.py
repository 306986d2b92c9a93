"""The whole plant, many scenarios in one call against one call each; and the march of many converter cycles.

Reported in seconds of processor, never a pass or fail on them; the answers must be those of one call each.

OPENBLAS_NUM_THREADS=1 python -m pytest tests/bench/test_bench_plant.py -n 0 --benchmark-enable --benchmark-only -s
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant import converting
from pyrobal.plant.acid_plant.converter import convert
from pyrobal.plant.converting import schedule
from pyrobal.readings.converting import cycle
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import TimeSteps
from pyrobal.studies.measure import measured

SIZES = (1, 64, 512, 2048)
CYCLES = 10_000
FEW = 6
READ = ("smelting.oxygen.demand", "converting.blast", "recovery.Cu", "acid.production", "acid.tail.flow")


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


def _busy(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds of processor, which other work on the machine changes little, and what was made."""
    begin = time.process_time()
    made = work()
    return time.process_time() - begin, made


def _converting(r: Results) -> float:
    """Seconds of the converters in one pass of the recycles."""
    c, s = r.circuit, r.inputs.converting
    march = lambda: converting.solve(c.converting.matte, {}, r.feeds.silica, None, r.inputs.site, s)  # noqa: E731
    return min(_busy(march)[0] for _ in range(3))


@pytest.mark.benchmark(group="plant")
def test_whole_plant_in_one_call(benchmark: Any) -> None:
    inputs = _varied(SIZES[-1])
    solve(inputs.take(slice(0, 1)))  # the tables are read
    single, alone = _busy(lambda: [solve(inputs.take(slice(i, i + 1))) for i in range(FEW)])
    batches = {n: _busy(lambda n=n: solve(inputs.take(slice(0, n)))) for n in SIZES}
    each = {n: seconds / n for n, (seconds, _) in batches.items()}
    result = batches[SIZES[-1]][1]
    benchmark.pedantic(lambda: solve(inputs.take(slice(0, 1))), rounds=1, iterations=1)
    benchmark.extra_info |= {f"ms_each_of_{n}": 1e3 * seconds for n, seconds in each.items()}
    benchmark.extra_info |= {
        "ms_one_at_a_time": 1e3 * single / FEW,
        "times_faster": single / FEW / each[SIZES[-1]],
        "solved_percent": 100 * float(result.solved.mean()),
        "passes": float(result.recycle.passes.mean()),
        "of_it_converting": _converting(result) * (result.recycle.passes.max() + 3) / (each[2048] * 2048),
    }
    print(f"\nplant: {benchmark.extra_info}")
    assert result.solved.mean() > 0.99
    for key in READ:
        ones = np.concatenate([measured(answer, key) for answer in alone])
        np.testing.assert_allclose(measured(result, key)[:FEW], ones, rtol=1e-10, err_msg=key)


@pytest.mark.benchmark(group="plant")
def test_many_cycles_in_one_call(benchmark: Any) -> None:
    r = solve(_varied(CYCLES).replace("smelting.dust", np.full(CYCLES, 0.06)))
    matte, s = r.smelting.matte_made, r.inputs.converting
    assert s is not None
    march = lambda: converting.solve(matte, {}, r.feeds.silica, None, r.inputs.site, s)  # noqa: E731
    seconds, result = _busy(lambda: benchmark.pedantic(march, rounds=1, iterations=1))
    benchmark.extra_info |= {
        "scenarios": CYCLES,
        "us_per_cycle": 1e6 * seconds / CYCLES,
        "solved_percent": 100 * float((result.reason == 0).mean()),
    }
    print(f"\ncycles: {benchmark.extra_info}")
    assert (result.reason == 0).mean() > 0.99


@pytest.mark.benchmark(group="plant")
def test_a_cycle_of_moments_through_the_beds(benchmark: Any) -> None:
    """120 moments through four beds, over a whole plant without a schedule solved in the same run."""
    inputs = load_case("cases/marram_sound.toml").inputs
    r, s = solve(inputs), inputs.acid_plant
    assert r.acid_plant is not None and s is not None
    moments = TimeSteps(r.acid_plant.course.oxidised.shape[1])
    rng = np.random.default_rng(2)
    n = np.repeat(r.acid_plant.feed.n, moments.count, axis=0) * rng.uniform(0.5, 1.5, (moments.count, 1))
    feed = Stream(r.acid_plant.feed.phase, n, np.repeat(r.acid_plant.feed.T, moments.count))
    steady = dataclasses.replace(inputs, load=None)
    whole = min(_busy(lambda: solve(steady))[0] for _ in range(3))
    beds = min(_busy(lambda: convert(r.acid_plant.feed, feed, s, moments))[0] for _ in range(5))
    benchmark.pedantic(lambda: convert(r.acid_plant.feed, feed, s, moments), rounds=3, iterations=1)
    benchmark.extra_info |= {
        "moments": moments.count,
        "ms_beds": 1e3 * beds,
        "ms_whole_plant": 1e3 * whole,
        "of_whole_plant": beds / whole,
    }
    print(f"\nbeds over a cycle: {benchmark.extra_info}")
    assert moments.count == 120 and beds < 0.5 * whole


def _split(inputs: Inputs, count: int) -> Inputs:
    """The first concentrate in ``count`` parts, and no other: the same feed in all."""
    first = inputs.concentrate[0]
    rate = sum(one.rate for one in inputs.concentrate) / count
    parts = tuple(dataclasses.replace(first, name=f"c{i}", rate=rate) for i in range(count))
    return dataclasses.replace(inputs, concentrate=parts)


@pytest.mark.benchmark(group="plant")
def test_cost_as_the_plant_grows(benchmark: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Seconds of one solve against concentrates, vessels, moments of the cycle and days."""
    inputs = load_case("cases/marram_sound.toml").inputs
    solve(inputs)  # the tables are read
    cost: dict[str, float] = {}

    def timed(said: str, of: Inputs) -> None:
        cost[said] = min(_busy(lambda: solve(of))[0] for _ in range(3))

    for count in (1, 3, 6, 12):
        timed(f"{count} concentrates", _split(inputs, count))
    assert inputs.load is not None
    timed("no schedule", dataclasses.replace(inputs, load=None))
    for vessels in ("2", "3", "4"):
        load = dataclasses.replace(inputs.load, vessels=vessels)
        timed(f"{vessels} vessels", dataclasses.replace(inputs, load=load))
    for times in (1, 2, 4):
        with monkeypatch.context() as patched:
            patched.setattr(schedule, "STEPS", tuple(times * steps for steps in schedule.STEPS))
            course = cycle(solve(inputs)).course
            moments = course.duration.shape[1]
            timed(f"{moments} moments", inputs)
    for days in (1, 8, 31, 64, 365):
        grade = np.linspace(0.61, 0.69, days)
        timed(f"{days} days", inputs.replace("smelting.matte_grade", grade))
    benchmark.pedantic(lambda: solve(inputs), rounds=1, iterations=1)
    benchmark.extra_info |= cost
    print("\n" + "\n".join(f"{said}: {1e3 * seconds:.0f} ms" for said, seconds in cost.items()))
