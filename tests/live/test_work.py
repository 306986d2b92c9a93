"""Who works: one thing at a time of each kind, and nothing that nobody waits for."""

from __future__ import annotations

import asyncio
import os
import threading
import time
from collections.abc import Iterator

import pytest

from pyrobal.live.work import Work


@pytest.fixture
def work() -> Iterator[Work]:
    made = Work(processes=False)
    yield made
    made.close()


async def never() -> None:
    await asyncio.Event().wait()


def test_what_nobody_waits_for_any_more_is_not_begun(work: Work) -> None:
    """A slow answer is under way; the next is given up before its turn, the one after it is worked out."""
    begun: list[str] = []
    free = threading.Event()

    def slow() -> str:
        free.wait(20)
        return "slow"

    def told(word: str) -> str:
        begun.append(word)
        return word

    async def run() -> list[object]:
        first = asyncio.ensure_future(work.answer(slow, never()))
        await asyncio.sleep(0.05)
        stale = asyncio.ensure_future(work.answer(lambda: told("stale"), asyncio.sleep(0)))
        newest = asyncio.ensure_future(work.answer(lambda: told("newest"), never()))
        assert await stale is None
        free.set()
        return [await first, await newest]

    assert asyncio.run(run()) == ["slow", "newest"]
    assert begun == ["newest"]


def test_answers_do_not_wait_for_studies(work: Work) -> None:
    free = threading.Event()

    async def run() -> object:
        study = asyncio.ensure_future(work.study(lambda: free.wait(20), never()))
        await asyncio.sleep(0.05)
        answer = await asyncio.wait_for(work.answer(lambda: "at once", never()), 10)
        free.set()
        await study
        return answer

    assert asyncio.run(run()) == "at once"


def test_an_error_reaches_whoever_asked(work: Work) -> None:
    async def run() -> None:
        with pytest.raises(ZeroDivisionError):
            await work.answer(lambda: 1 / 0, never())
        assert await work.answer(lambda: "still there", never()) == "still there"

    asyncio.run(run())


def test_a_few_things_are_kept_and_the_least_lately_used_forgotten(work: Work) -> None:
    made: list[int] = []

    def one(i: int) -> int:
        return work.kept(i, lambda: made.append(i) or i)  # type: ignore[func-returns-value]

    for i in range(40):
        one(i)
        one(0)
    assert made == list(range(40))
    one(39)
    one(1)
    assert made == [*range(40), 1]


def test_what_is_under_way_does_not_keep_the_program() -> None:
    """Closed within a moment, whatever its threads and its process are doing; the process is gone."""
    work = Work()
    pool = work.executor()
    assert pool is not None
    assert pool is work.executor()
    pool.submit(time.sleep, 60)
    work.soon(lambda: time.sleep(60))
    children = [child.pid for child in work._children]
    assert len(children) == 1
    started = time.monotonic()
    work.close()
    for child in work._children:
        child.join(20)
    assert time.monotonic() - started < 20
    assert not any(os.path.exists(f"/proc/{pid}") for pid in children)
