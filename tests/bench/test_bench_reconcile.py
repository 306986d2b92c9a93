"""What a reconciliation costs, as ratios within one run.

python -m pytest tests/bench/test_bench_reconcile.py --benchmark-enable --benchmark-only -s
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from measurements import CASE, TRUTH, days

from pyrobal.arrays import take
from pyrobal.case.load import load_case
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.reconcile.reconciliation import Reconciliation, reconcile

FIT = list(TRUTH)


def busy(work: Any) -> float:
    """Seconds of processor, which other work on the machine changes little."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def fitted(file: str) -> Reconciliation:
    return reconcile(load_case(CASE), file, fit=FIT)


@pytest.mark.benchmark(group="reconcile")
def test_thirty_days_against_a_balance_for_each_derivative(benchmark: Any, tmp_path: Path) -> None:
    """25 columns, 5 fitted, furnace only."""
    file = days(30, seed=1).write(tmp_path / "days.csv")
    found: list[Reconciliation] = []
    here = busy(lambda: found.append(fitted(file)))
    p = found[0].found.problem
    one = take(load_case(CASE).inputs, np.zeros(1, dtype=int))
    balance = min(busy(lambda: solve(one)) for _ in range(5))
    derivatives = p.periods * len(p.variables) * found[0].found.answer.rounds
    ratio = derivatives * balance / here
    print(
        f"\n{here:.1f} s for {derivatives} derivatives, {balance * 1e3:.0f} ms a balance: {ratio:.0f} times faster"
    )
    benchmark.extra_info["ratio"] = ratio
    benchmark.pedantic(lambda: fitted(file), rounds=1, iterations=1)
    assert len(p.measured.columns) == 25 and ratio > 5.0


@pytest.mark.benchmark(group="reconcile")
def test_twice_the_days_take_little_more_than_twice_the_time(benchmark: Any, tmp_path: Path) -> None:
    files = [days(n, seed=1).write(tmp_path / f"days{n}.csv") for n in (60, 120)]
    fitted(files[0])
    short, long = (busy(lambda file=file: fitted(file)) for file in files)
    print(f"\n60 days {short:.1f} s, 120 days {long:.1f} s: {long / short:.2f} times")
    benchmark.extra_info["ratio"] = long / short
    benchmark.pedantic(lambda: fitted(files[0]), rounds=1, iterations=1)
    assert long / short < 2.2
