"""How fast the furnace is, as ratios within one run. Reported, never a pass or fail on seconds.

python -m pytest tests/bench -n 0 --benchmark-enable --benchmark-only -s
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from plants import random_plants
from scipy.optimize import root

from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.numerics.newton import newton
from pyrobal.plant.smelting.furnace import Furnace, furnace, start

MANY = 100_000
FEW = 60  # one at a time takes milliseconds each


def _timed(work: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.perf_counter()
    result = work()
    return time.perf_counter() - begin, result


def _problem(inputs: Inputs) -> Furnace:
    """The furnace equations of the first scenarios' charge, as the balance sets them up."""
    r = solve(inputs)
    return furnace(r.charge, inputs.site, inputs.smelting, r.smelting_fuel)[0]


def _one_at_a_time(problem: Furnace, z: np.ndarray) -> int:
    """The same equations by scipy.optimize.root, scenario by scenario; how many converged."""
    solved = 0
    for i in range(FEW):
        alone = problem.take(np.array([i]))
        answer = root(lambda x, p=alone: p.residual(x[None, :])[0], z[i], method="hybr", tol=1e-10)
        solved += bool(answer.success)
    return solved


@pytest.mark.benchmark(group="furnace")
def test_batched_newton_against_one_at_a_time(benchmark: Any) -> None:
    """Equations alone: batched Newton on many scenarios over scipy.optimize.root on each."""
    inputs = random_plants(MANY, seed=11, own_assays=False)
    problem = _problem(inputs)
    z = start(problem)
    with np.errstate(all="ignore"):
        single, solved = _timed(lambda: _one_at_a_time(problem, z))
        roots = benchmark.pedantic(lambda: newton(problem, z, longest_step=2.0), rounds=1, iterations=1)
        batch, _ = _timed(lambda: newton(problem, z, longest_step=2.0))
    per_single, per_batch = single / FEW, batch / MANY
    benchmark.extra_info |= {
        "scenarios": MANY,
        "us_per_scenario": 1e6 * per_batch,
        "us_one_at_a_time": 1e6 * per_single,
        "times_faster": per_single / per_batch,
        "converged_percent": 100 * roots.converged.mean(),
        "one_at_a_time_converged_percent": 100 * solved / FEW,
    }
    print(f"\nequations: {benchmark.extra_info}")
    assert roots.converged.mean() > 0.999


@pytest.mark.benchmark(group="furnace")
def test_whole_balance_in_one_call(benchmark: Any) -> None:
    """Feed, furnace, streams and ledger: one call for many scenarios over one call each."""
    inputs = random_plants(MANY, seed=12, own_assays=False)
    ones = [inputs.take(slice(i, i + 1)) for i in range(20)]
    single, _ = _timed(lambda: [solve(one) for one in ones])
    result = benchmark.pedantic(lambda: solve(inputs), rounds=1, iterations=1)
    batch, _ = _timed(lambda: solve(inputs))
    benchmark.extra_info |= {
        "scenarios": MANY,
        "us_per_scenario": 1e6 * batch / MANY,
        "times_faster_than_single_calls": single / 20 / (batch / MANY),
        "solved_percent": 100 * result.solved.mean(),
    }
    print(f"\nbalance: {benchmark.extra_info}")
    assert result.solved.mean() > 0.999
