"""Who works things out: one thread for answers, one for studies, whose heavy part another process does.

So an answer never waits for a curve; of either kind one is worked out at a time, and one that nobody waits
for any more, because the page has asked anew, is dropped before it begins.
"""

from __future__ import annotations

import asyncio
import threading
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Hashable
from concurrent.futures import Executor, ThreadPoolExecutor
from typing import Any, Final, TypeVar, cast

T = TypeVar("T")
_KEPT: Final = 32  # states and descriptions


class Work:
    """The workers of one server. processes : another process for studies, else all is done in this one"""

    def __init__(self, processes: bool = True) -> None:
        self._answers = ThreadPoolExecutor(1, "answers")
        self._studies = ThreadPoolExecutor(1, "studies")
        self._processes = processes
        self._pool: Executor | None = None
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = threading.Lock()

    def executor(self) -> Executor | None:
        """Who solves the chunks of a study; started when the first is asked for."""
        if self._processes and self._pool is None:
            from pyrobal.studies.run import processes

            self._pool = processes(1)
        return self._pool

    async def answer(self, task: Callable[[], T], wanted: Awaitable[object]) -> T | None:
        """What a task returns; None where ``wanted`` ends first: nobody waits for it any more."""
        return await _unless(self._answers, task, wanted)

    async def study(self, task: Callable[[], T], wanted: Awaitable[object]) -> T | None:
        """The same for what may take longer."""
        return await _unless(self._studies, task, wanted)

    def later(self, task: Callable[[], object]) -> None:
        """A study that nobody waits for."""
        self._studies.submit(task)

    def kept(self, key: Hashable, made: Callable[[], T]) -> T:
        """What was made for a key before, or is made now; the least lately used are forgotten."""
        with self._lock:
            found = self._kept.get(key)
        if found is None:
            found = made()
        with self._lock:
            self._kept[key] = found
            self._kept.move_to_end(key)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return found

    def close(self) -> None:
        """Let go of everything; what is under way is not waited for."""
        for pool in (self._answers, self._studies, self._pool):
            if pool is not None:
                pool.shutdown(wait=False, cancel_futures=True)


async def _unless(pool: Executor, task: Callable[[], T], wanted: Awaitable[object]) -> T | None:
    running = asyncio.get_running_loop().run_in_executor(pool, task)
    gone = asyncio.ensure_future(wanted)
    await asyncio.wait(cast("set[asyncio.Future[Any]]", {running, gone}), return_when=asyncio.FIRST_COMPLETED)
    gone.cancel()
    if running.done():
        return running.result()
    running.cancel()  # before it begins; what has begun goes on to its end
    return None
