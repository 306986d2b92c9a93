"""The page of `pyrobal live`: from the move of a slider to its figures in the page, until the curves, and what a
thousand moves leave in memory. Seconds by the clock, since they are what a user waits: on an idle machine.

OPENBLAS_NUM_THREADS=1 python -m pytest tests/bench/test_bench_live.py -n 0 --benchmark-enable --benchmark-only -s
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator
from typing import Any

import pytest
from demos import CASES

from ..live.opened import Live, served
from ..report.browser import Page, browser, needs_browser

pytestmark = needs_browser

RANGE = '.handle:has([id="set-smelting.enrichment"]) input[type="range"]'
MOVES = {"skerry_point": 40, "marram_sound": 40}
THOUSAND = 1000
LONGEST = 300_000  # ms, of the first curves of a whole plant on a busy machine
MOST_GROWTH = 2e6  # bytes of the page's own memory after a thousand moves; the store of states is 200


@pytest.fixture
def tab() -> Iterator[Page]:
    with browser() as opened:
        yield opened


def moves(page: Live, n: int, step: float, rest: int) -> list[float]:
    """[ms] from each of n moves to its figures, a rest between them."""
    found: list[float] = page.tab.run(f"""(async () => {{
        const [range, main] = [document.querySelector('{RANGE}'), document.getElementById('main')];
        const times = [];
        for (let i = 0; i < {n}; i++) {{
          range.value = 50 + {step} * (i % 40);
          const before = performance.now();
          range.dispatchEvent(new Event('input'));
          while (main.dataset.asked !== main.dataset.answered) await new Promise(requestAnimationFrame);
          times.push(performance.now() - before);
          await new Promise(done => setTimeout(done, {rest}));
        }}
        return times;
      }})()""")
    return found


@pytest.mark.benchmark(group="live")
@pytest.mark.parametrize("name", MOVES)
def test_from_the_move_to_the_figures(benchmark: Any, tab: Page, name: str) -> None:
    server = served(CASES / f"{name}.toml", processes=True)
    try:
        page = Live(tab, server.address)
        page.until("document.querySelector('.curve .line')", LONGEST)
        moves(page, 3, 0.1, 20)
        times = sorted(moves(page, MOVES[name], 0.3, 20))
        curves = page.tab.run("""(async () => {
            const before = performance.now();
            while (document.querySelector('.curve.stale')) await new Promise(requestAnimationFrame);
            return performance.now() - before; })()""")
        benchmark.pedantic(lambda: moves(page, 1, 0.2, 0), rounds=1, iterations=1)
        print(
            f"\n{name}: move to figures, median {statistics.median(times):.0f} ms, 95 of 100 within "
            f"{times[int(0.95 * len(times)) - 1]:.0f} ms; all curves {curves / 1000:.1f} s after the last move"
        )
        assert page.tab.complaints == []
    finally:
        server.stop()


@pytest.mark.benchmark(group="live")
def test_a_thousand_moves_leave_memory_flat(benchmark: Any, tab: Page) -> None:
    server = served(CASES / "skerry_point.toml")

    def held() -> float:
        tab.call("HeapProfiler.collectGarbage")
        return float(tab.call("Runtime.getHeapUsage")["usedSize"])

    try:
        page = Live(tab, server.address)
        moves(page, THOUSAND // 4, 0.5, 0)
        before = held()
        benchmark.pedantic(lambda: moves(page, THOUSAND, 0.5, 0), rounds=1, iterations=1)
        after = held()
        print(
            f"\nmemory of the page: {before / 1e6:.2f} MB before {THOUSAND} moves, {after / 1e6:.2f} MB after"
        )
        assert after - before < MOST_GROWTH
    finally:
        server.stop()
