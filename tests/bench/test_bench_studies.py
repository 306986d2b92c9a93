"""How fast studies are, as ratios within one run, and how much memory a large one takes.

python -m pytest tests/bench/test_bench_studies.py -n 0 --benchmark-enable --benchmark-only -s
"""

from __future__ import annotations

import cProfile
import dataclasses
import os
import pstats
import resource
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pytest

from pyrobal.arrays import each_array
from pyrobal.case.load import Case, load_case
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.grid import varied
from pyrobal.studies.run import CHUNK, processes
from pyrobal.studies.sweep import Sweep, prepare
from pyrobal.studies.variable import find

ROOT = Path(__file__).parents[2]
SKERRY = ROOT / "cases" / "skerry_point.toml"
READ = ["smelting.heat.surplus", "smelting.fuel_heat", "smelting.gas.flow_wet", "smelting.gas.so2"]
ALONE = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


def job(case: Case, scenarios: int) -> Sweep:
    grade = {"smelting.enrichment": f"40:90 %:{scenarios // 100}", "smelting.matte_grade": "58:74 %:100"}
    return prepare(case, grade, READ)


def seconds(work: Any) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def busy(work: Any) -> float:
    """Seconds of processor, which other work on the machine changes little."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def command(out: Path, scenarios: int) -> tuple[float, float, float]:
    """Seconds, seconds of processor, and peak megabytes of one sweep as a command of its own."""
    code = (
        "import resource, sys; from pyrobal.cli import main;"
        f"code = main(['sweep', {str(SKERRY)!r}, '--over', 'smelting.enrichment=40:90 %:{scenarios // 100}', '--over',"
        f" 'smelting.matte_grade=58:74 %:100', '--read', {','.join(READ)!r}, '--workers', '1', '--out', {str(out)!r}]);"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024); sys.exit(code)"
    )
    begin, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    line = [sys.executable, "-c", code]
    process = subprocess.run(line, capture_output=True, text=True, check=True, cwd=ROOT, env=ALONE)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - begin, processor, float(process.stdout.split()[-1])


@pytest.mark.benchmark(group="studies")
def test_a_million_scenarios_in_flat_memory(benchmark: Any, tmp_path: Path) -> None:
    import pyarrow.parquet

    _, few, little = command(tmp_path / "few", 50_000)
    wall, many, peak = benchmark.pedantic(
        lambda: command(tmp_path / "many", 1_000_000), rounds=1, iterations=1
    )
    size = sum(file.stat().st_size for file in (tmp_path / "many").iterdir()) / 1e6
    benchmark.extra_info |= {
        "seconds": wall, "processor_s": many, "peak_MB": peak, "peak_MB_of_50000": little, "written_MB": size,
    }  # fmt: skip
    print(f"\nmillion: {benchmark.extra_info}; 50,000 took {few:.1f} s of processor")
    assert len(pyarrow.parquet.read_table(tmp_path / "many", columns=["reason"])) == 1_000_000
    assert peak < 1.1 * little  # flat: twenty times the scenarios in the same memory


@pytest.mark.benchmark(group="studies")
def test_two_processes_against_one(benchmark: Any, case: Case) -> None:
    work = job(case, 60 * CHUNK // 100 * 100)
    with processes(2) as pool:
        list(prepare(case, {"smelting.fe_sio2": "1.1:1.4:8"}, READ, chunk=1).run(pool))  # both have started
        two = min(seconds(lambda: list(work.run(pool))) for _ in range(3))
        one = min(seconds(lambda: list(work.run())) for _ in range(3))
    benchmark.pedantic(lambda: solve(case.inputs), rounds=3, iterations=1)
    benchmark.extra_info |= {
        "one_s": one,
        "two_s": two,
        "times_faster": one / two,
        "load": os.getloadavg()[0],
    }
    print(f"\nprocesses: {benchmark.extra_info}")


@pytest.mark.benchmark(group="studies")
def test_cost_by_number_of_scenarios(benchmark: Any, case: Case) -> None:
    """In chunks, as studies solve them."""
    cost = {n: _each(case.inputs.replace("smelting.enrichment", np.linspace(0.4, 0.9, n))) for n in
            (1, 10, 100, 1000, 10_000, 100_000, 1_000_000)}  # fmt: skip
    benchmark.pedantic(lambda: solve(case.inputs), rounds=3, iterations=1)
    benchmark.extra_info |= {f"us_at_{n}": us for n, us in cost.items()}
    print(f"\nscenarios: {benchmark.extra_info}")


@pytest.mark.benchmark(group="studies")
def test_cost_by_number_of_concentrates_and_of_assay_lines(benchmark: Any, case: Case) -> None:
    """All assays differ from scenario to scenario: the dearest case, as every one is made into minerals."""
    n, rng = 1000, np.random.default_rng(1)
    first = case.inputs.concentrate[0]
    cost = {}
    for count in (1, 2, 4, 8):
        blend = tuple(dataclasses.replace(first, name=f"c{i}", rate=first.rate / count) for i in range(count))
        cost[f"us_with_{count}_concentrates"] = _each(_shaken(_with(case.inputs, blend), n, rng))
    for lines in (4, 8, 12):
        assay = dict(list(first.assay.items())[:lines])
        cost[f"us_with_{lines}_assay_lines"] = _each(
            _shaken(_with(case.inputs, (dataclasses.replace(first, assay=assay),)), n, rng)
        )
    benchmark.pedantic(lambda: solve(case.inputs), rounds=3, iterations=1)
    benchmark.extra_info |= cost
    print(f"\nconcentrates: {benchmark.extra_info}")


def _with(inputs: Inputs, blend: tuple[Any, ...]) -> Inputs:
    return dataclasses.replace(inputs, concentrate=blend)


def _shaken(inputs: Inputs, n: int, rng: np.random.Generator) -> Inputs:
    keys = [f"concentrate.{c.name}.assay.{line}" for c in inputs.concentrate for line in c.assay]
    variables = [find(inputs, key) for key in keys]
    values = np.array([float(v.value(inputs)[0]) for v in variables])  # type: ignore[index]
    return varied(inputs, variables, values * rng.uniform(0.98, 1.0, (n, len(values))))


def _each(inputs: Inputs) -> float:
    """Microseconds per scenario, the better of two."""
    n = inputs.scenarios

    def all_chunks() -> None:
        for start in range(0, n, CHUNK):
            solve(inputs.take(slice(start, start + CHUNK)))

    return min(busy(all_chunks) for _ in range(2)) / n * 1e6


def _nanoseconds(work: Any, elements: int) -> float:
    """Of one element of an array pass, the best of many."""
    return min(busy(work) for _ in range(200)) / elements * 1e9


class Counted(np.ndarray):
    """An array that counts the elements every operation on it makes, as far as it is carried on: one that is
    copied into a plain array is lost, so the count is a lower bound."""

    made: ClassVar[Counter[str]] = Counter()

    def __array_ufunc__(self, ufunc: Any, method: str, *inputs: Any, **others: Any) -> Any:
        found = getattr(ufunc, method)(
            *_plain(inputs), **{key: _plain(value) for key, value in others.items()}
        )
        largest = max(np.size(x) for x in (*inputs, *(found if isinstance(found, tuple) else (found,))))
        Counted.made[ufunc.__name__] += largest
        return _counted(found)

    def __array_function__(self, function: Any, types: Any, args: Any, kwargs: Any) -> Any:
        return _counted(function(*_plain(args), **{key: _plain(value) for key, value in kwargs.items()}))


def _plain(x: Any) -> Any:
    if isinstance(x, Counted):
        return x.view(np.ndarray)
    return type(x)(map(_plain, x)) if type(x) in (list, tuple) else x


def _counted(x: Any) -> Any:
    if isinstance(x, np.ndarray):
        return x.view(Counted)
    return type(x)(map(_counted, x)) if type(x) in (list, tuple) else x


def operations(inputs: Inputs) -> Counter[str]:
    """Element operations of one balance, by name, per scenario."""
    Counted.made.clear()
    solve(each_array(inputs, lambda array: array.view(Counted)))
    return Counter({name: count / inputs.scenarios for name, count in Counted.made.items()})


@pytest.mark.benchmark(group="studies")
def test_how_far_from_the_limit_of_the_machine(benchmark: Any, case: Case) -> None:
    """Passes of one operation over an array of one chunk, which is what a balance is made of.

    The share of calls is what a single scenario takes of the time of a whole chunk: it does every call that
    the chunk does, on arrays of one. The least is the time the operations that were counted would take in
    passes over arrays that stay in the cache, with nothing between them.
    """
    x, out = np.random.default_rng(0).uniform(0.5, 1.5, CHUNK), np.empty(CHUNK)
    passes = {
        "add": _nanoseconds(lambda: np.add(x, x, out=out), CHUNK),
        "divide": _nanoseconds(lambda: np.divide(x, x, out=out), CHUNK),
        "exp": _nanoseconds(lambda: np.exp(x, out=out), CHUNK),
        "log": _nanoseconds(lambda: np.log(x, out=out), CHUNK),
        "power": _nanoseconds(lambda: np.power(x, 0.37, out=out), CHUNK),
    }
    one = min(busy(lambda: solve(case.inputs)) for _ in range(5))
    inputs = case.inputs.replace("smelting.enrichment", np.linspace(0.4, 0.9, CHUNK))
    chunk = min(busy(lambda: solve(inputs)) for _ in range(3))
    benchmark.pedantic(lambda: solve(case.inputs), rounds=3, iterations=1)
    made = operations(inputs)
    dear = sum(made[name] * passes[name] for name in ("divide", "exp", "log", "power"))
    least = dear + sum(made[name] for name in made if name not in passes or name == "add") * passes["add"]
    benchmark.extra_info |= {f"ns_per_{name}": ns for name, ns in passes.items()}
    benchmark.extra_info |= {
        "ms_one": 1e3 * one, "ms_chunk": 1e3 * chunk, "calls_percent": 100 * one / chunk,
        "us_each": 1e6 * chunk / CHUNK, "operations_each": sum(made.values()), "least_us_each": 1e-3 * least,
        "times_above_the_least": 1e9 * chunk / CHUNK / least,
    }  # fmt: skip
    print(f"\nlimit: {benchmark.extra_info}")


@pytest.mark.benchmark(group="studies")
def test_where_the_time_goes(benchmark: Any, case: Case) -> None:
    inputs = case.inputs.replace("smelting.enrichment", np.linspace(0.4, 0.9, CHUNK))
    solve(inputs)
    profile = cProfile.Profile()
    profile.runcall(solve, inputs)
    stats = pstats.Stats(profile)
    total = stats.total_tt  # type: ignore[attr-defined]
    own = {f"{Path(f).name}:{name}": t[2] for (f, _, name), t in stats.stats.items()}  # type: ignore[attr-defined]
    top = sorted(own.items(), key=lambda item: -item[1])[:12]
    benchmark.pedantic(lambda: solve(inputs), rounds=1, iterations=1)
    benchmark.extra_info |= {name: f"{100 * t / total:.0f} %" for name, t in top}
    print(f"\nprofile: {benchmark.extra_info}")


@pytest.mark.benchmark(group="studies")
def test_slag_temperature_against_fuel(benchmark: Any, case: Case) -> None:
    """What closes the heat: the bath is heated anew at every trial where its temperature does."""
    cost = {}
    for word in ("fuel", "slag_temperature"):
        inputs = load_case(SKERRY, [f"smelting.close_heat_with={word}"]).inputs
        inputs = inputs.replace("smelting.enrichment", np.linspace(0.45, 0.65, 2000))
        assert solve(inputs).solved.mean() > 0.99
        cost[f"us_with_{word}"] = _each(inputs)
    benchmark.pedantic(lambda: solve(case.inputs), rounds=3, iterations=1)
    benchmark.extra_info |= cost | {"times": cost["us_with_slag_temperature"] / cost["us_with_fuel"]}
    print(f"\nslag temperature: {benchmark.extra_info}")
