"""Who works things out: one thread for answers, one for studies, whose heavy part another process does.

So an answer never waits for a curve; of either kind one is worked out at a time, and one that nobody waits
for any more, because the page has asked anew, is dropped before it begins.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import threading
import warnings
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Hashable
from concurrent.futures import Executor, Future
from functools import partial
from queue import SimpleQueue
from typing import Any, Final, TypeVar, cast

T = TypeVar("T")
_KEPT: Final = 32  # states and descriptions
_Job = tuple[Future[Any], Callable[[], Any]]


class _Thread(Executor):
    """One thread, which does not keep the program from ending."""

    def __init__(self, name: str) -> None:
        self._jobs: SimpleQueue[_Job | None] = SimpleQueue()
        self._open = True
        threading.Thread(target=self._work, name=name, daemon=True).start()

    def submit(self, fn: Callable[..., T], /, *arguments: Any, **others: Any) -> Future[T]:
        """Put behind what is there."""
        future: Future[T] = Future()
        self._jobs.put((future, partial(fn, *arguments, **others)))
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Begin nothing more."""
        self._open = False
        self._jobs.put(None)

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None and self._open:
            future, task = job
            if future.set_running_or_notify_cancel():
                try:
                    future.set_result(task())
                except BaseException as error:  # whoever asked gets it
                    future.set_exception(error)
            del job, future, task  # the answer goes with whoever asked


class Work:
    """The workers of one server. processes : another process for studies, else all is done in this one"""

    def __init__(self, processes: bool = True) -> None:
        self._answers, self._studies = _Thread("answers"), _Thread("studies")
        self._processes = processes
        self._pool: Executor | None = None
        self._children: set[Any] = set()
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = threading.Lock()

    def executor(self) -> Executor | None:
        """Who solves the chunks of a study; None where this process does."""
        return self.other() if self._processes else None

    def other(self) -> Executor:
        """Another process; started when it is first asked for."""
        with self._lock:
            if self._pool is None:
                from pyrobal.studies.run import processes

                before = set(multiprocessing.active_children())
                self._pool = processes(1)
                self._children = set(multiprocessing.active_children()) - before
            return self._pool

    async def answer(self, task: Callable[[], T], unwanted: Awaitable[object]) -> T | None:
        """What a task returns; None where ``unwanted`` comes first: nobody waits for it any more."""
        return await _unless(self._answers, task, unwanted)

    async def study(self, task: Callable[[], T], unwanted: Awaitable[object]) -> T | None:
        """The same for what may take longer."""
        return await _unless(self._studies, task, unwanted)

    def soon(self, task: Callable[[], object]) -> None:
        """An answer that nobody waits for yet."""
        self._answers.submit(task)

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
        for thread in (self._answers, self._studies):
            thread.shutdown()
        if self._pool is not None:
            warnings.filterwarnings("ignore", "a worker was killed")  # by us
            self._pool.shutdown(wait=False, cancel_futures=True)
            for child in self._children:
                child.terminate()


async def _unless(pool: Executor, task: Callable[[], T], unwanted: Awaitable[object]) -> T | None:
    running = asyncio.get_running_loop().run_in_executor(pool, task)
    gone = asyncio.ensure_future(unwanted)
    await asyncio.wait(cast("set[asyncio.Future[Any]]", {running, gone}), return_when=asyncio.FIRST_COMPLETED)
    gone.cancel()
    if running.done():
        return running.result()
    running.cancel()  # before it begins; what has begun goes on to its end
    return None
