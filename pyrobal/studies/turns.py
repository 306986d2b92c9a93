"""Searches side by side: each goes on until it asks, and what all of them ask is answered in one call.

A balance of many scenarios costs little more than one of a few, so searches that know nothing of each other
ask together. They run in threads, as one may ask from within an optimiser of a library, but one at a time.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Sequence
from typing import Generic, TypeVar

Q = TypeVar("Q")
A = TypeVar("A")
T = TypeVar("T")


class Turns(Generic[Q, A]):
    """Searches that ask ``answer``: a list of questions in, their answers out, in that order."""

    def __init__(self, answer: Callable[[list[Q]], Sequence[A]]) -> None:
        self._answer = answer
        self._turn = threading.Condition()  # held by the one that runs
        self._numbers = itertools.count()
        self._running: set[int] = set()
        self._asked: dict[int, Q] = {}
        self._told: dict[int, A] = {}
        self._stopped = False
        self._search = threading.local()

    @property
    def _own(self) -> int | None:
        """Number of the search that runs in this thread."""
        return getattr(self._search, "number", None)

    def ask(self, question: Q) -> A:
        """The answer, when every other search asks too or is through; at once where none runs."""
        own = self._own
        if own is None:
            return self._answer([question])[0]
        self._asked[own] = question
        self._wait(own, lambda: own in self._told)
        return self._told.pop(own)

    def run(self, searches: Sequence[Callable[[], T]]) -> list[T]:
        """What each search finds, in their order. Raises what the first of those that failed raised.

        A search may run others; all then take turns.
        """
        found: dict[int, T] = {}
        failed: dict[int, BaseException] = {}
        parent, numbers = self._own, [next(self._numbers) for _ in searches]

        def follow(number: int, search: Callable[[], T]) -> None:
            self._search.number = number
            with self._turn:
                try:
                    found[number] = search()
                except _Stopped:
                    return
                except BaseException as error:
                    failed[number] = error
                self._running.discard(number)
                if parent is not None and len(found) + len(failed) == len(numbers):
                    self._running.add(parent)
                self._turn.notify_all()

        pairs = zip(numbers, searches, strict=True)
        threads = [threading.Thread(target=follow, args=pair, daemon=True) for pair in pairs]
        self._running.update(numbers)
        if parent is None:
            self._answered(threads)
        elif threads:
            for thread in threads:
                thread.start()
            self._wait(parent, lambda: len(found) + len(failed) == len(numbers))
        for number in sorted(failed):
            raise failed[number]
        return [found[number] for number in numbers]

    def _wait(self, own: int, until: Callable[[], bool]) -> None:
        """Let the others run."""
        self._running.discard(own)
        self._turn.notify_all()
        self._turn.wait_for(lambda: until() or self._stopped)
        if self._stopped:
            raise _Stopped

    def _answered(self, threads: Sequence[threading.Thread]) -> None:
        """Answers until all searches are through; where an answer fails, all of them end."""
        try:
            with self._turn:
                for thread in threads:
                    thread.start()
                while True:
                    self._turn.wait_for(lambda: not self._running)
                    if not self._asked:
                        return
                    asked = sorted(self._asked)
                    answers = self._answer([self._asked.pop(number) for number in asked])
                    self._told.update(zip(asked, answers, strict=True))
                    self._running.update(asked)
                    self._turn.notify_all()
        finally:
            self._end(threads)

    def _end(self, threads: Sequence[threading.Thread]) -> None:
        with self._turn:
            self._stopped = True
            self._turn.notify_all()
        for thread in threads:
            if thread.ident is not None:
                thread.join()
        self._stopped = False
        self._running.clear()
        self._asked.clear()
        self._told.clear()


class _Stopped(BaseException):
    """A search ends, as what it asked will not be answered."""
