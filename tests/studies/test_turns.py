"""Searches side by side ask in one call, find what each would find alone, and end where one of them fails."""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np
import pytest
from scipy import optimize

from pyrobal.studies.turns import Turns


def _turns() -> tuple[Turns[float, float], list[list[float]]]:
    """Squares, and what was asked at a time."""
    calls: list[list[float]] = []

    def answer(asked: list[float]) -> list[float]:
        calls.append(asked)
        return [one**2 for one in asked]

    return Turns(answer), calls


def test_what_all_ask_is_one_call() -> None:
    turns, calls = _turns()

    def search(first: float, times: int) -> Callable[[], list[float]]:
        return lambda: [turns.ask(first + k) for k in range(times)]

    assert turns.run([search(1.0, 2), search(10.0, 1), search(100.0, 3)]) == [
        [1.0, 4.0],
        [100.0],
        [10000.0, 10201.0, 10404.0],
    ]
    assert calls == [[1.0, 10.0, 100.0], [2.0, 101.0], [102.0]]
    assert turns.ask(3.0) == 9.0  # where no search runs, at once
    assert turns.run([]) == []


def test_a_search_may_run_others() -> None:
    turns, calls = _turns()

    def parent() -> float:
        first = turns.ask(1.0)
        return first + sum(turns.run([lambda: turns.ask(2.0), lambda: turns.ask(3.0)]))

    found = turns.run([parent, lambda: turns.ask(5.0) + turns.ask(6.0)])
    assert found == [14.0, 61.0]
    assert calls == [[1.0, 5.0], [6.0, 2.0, 3.0]]


def test_an_optimiser_of_a_library_asks_from_within() -> None:
    """scipy's SLSQP on 32 parabolas: their least is known."""
    turns, calls = _turns()
    places = np.random.default_rng(2).uniform(-3.0, 3.0, 32)

    def search(place: float) -> Callable[[], float]:
        return lambda: float(
            optimize.minimize(lambda z: turns.ask(float(z[0]) - place), [0.0], method="SLSQP").x[0]
        )

    np.testing.assert_allclose(turns.run([search(place) for place in places]), places, atol=1e-6)
    assert len(calls[0]) == 32


class _Broken(Exception):
    pass


@pytest.mark.parametrize("failing", ["answer", "search", "nested"])
def test_where_one_fails_all_end(failing: str) -> None:
    ended = []

    def answer(asked: list[float]) -> list[float]:
        if failing == "answer" and 2.0 in asked:
            raise _Broken
        return asked

    turns: Turns[float, float] = Turns(answer)

    def fails() -> float:
        turns.ask(1.0)
        if failing != "answer":
            raise _Broken
        return turns.ask(2.0)

    def nests() -> float:
        return turns.run([fails])[0] if failing == "nested" else fails()

    def waits() -> float:
        try:
            return turns.ask(1.0) + turns.ask(1.0)
        finally:
            ended.append(True)

    before = threading.active_count()
    with pytest.raises(_Broken):
        turns.run([waits, nests, waits])
    assert ended == [True, True]
    assert threading.active_count() == before
    assert turns.run([lambda: turns.ask(4.0)]) == [4.0]  # and it can be asked again
