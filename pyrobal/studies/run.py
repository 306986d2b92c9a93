"""Chunks of scenarios, solved here or by any executor, in order and in flat memory."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import multiprocessing
import os
import signal
import threading
import warnings
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal import __version__
from pyrobal.arrays import FloatN, Floats, IntN
from pyrobal.errors import PyrobalError, Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.aim import Aim
from pyrobal.studies.enthalpies import heat_error
from pyrobal.studies.grid import varied
from pyrobal.studies.measure import measured
from pyrobal.studies.variable import Variable
from pyrobal.thermo.files import data_root

CHUNK: Final = 8192  # furnaces solved together; more gain nothing in speed
PLANT_CHUNK: Final = 1024  # whole plants; these take some seconds, which is what an interrupt may cost

Progress = Callable[[int, int], object]  # called with how many more are done, and of how many in all


def unseen(done: int, total: int) -> None:
    """The progress that nobody watches."""


def chunk_of(inputs: Inputs) -> int:
    """How many scenarios of a case are solved together."""
    return CHUNK if inputs.converting is None else PLANT_CHUNK


@dataclass(frozen=True, eq=False)
class Task:
    """One chunk: the case, what is varied in it, and what to read.

    values : (n, V) in SI, of ``variables``
    maker : ``fingerprint`` of the program that asks, which the one that answers must share
    heat_errors : (n,) how many standard deviations the formation enthalpies are off, see ``enthalpies``
    """

    inputs: Inputs
    variables: tuple[Variable, ...]
    values: Floats
    readings: tuple[str, ...]
    aim: Aim | None
    maker: str
    heat_errors: FloatN | None = None


@dataclass(frozen=True, eq=False)
class Block:
    """The answer: readings (n, R) in SI, reason (n,), and the settings aimed with (n, K) in SI, if any."""

    readings: Floats
    reason: IntN
    aimed: Floats | None


class Mismatch(PyrobalError):
    """A worker runs another version of the program or of its tables."""


@functools.lru_cache
def fingerprint() -> str:
    """Version of the program and a digest of the thermochemical tables."""
    digest = hashlib.sha256()
    root = data_root()
    for file in sorted(path for path in root.rglob("*") if path.suffix in (".csv", ".bib")):
        digest.update(file.relative_to(root).as_posix().encode())
        digest.update(file.read_bytes())
    return f"{__version__}+{digest.hexdigest()[:16]}"


def solve_task(task: Task) -> Block:
    """Solve one chunk. Raises Mismatch where asked by another version of the program or its tables."""
    if task.maker != fingerprint():
        raise Mismatch(f"a worker has pyrobal and tables {fingerprint()}, the study {task.maker}")
    inputs = varied(task.inputs, task.variables, task.values)
    if task.heat_errors is not None:  # before the aim, which is to be met with them
        inputs = _off(inputs, task.heat_errors)
    aimed, found = None, np.ones(1, dtype=bool)
    if task.aim is not None:
        aimed, found = task.aim.solved(inputs)
        inputs = task.aim.put(inputs, aimed)
    results = solve(inputs)
    n = len(task.values)
    reason = np.where(found, results.reason, Reason.AIM_OUT_OF_REACH)
    readings = [np.broadcast_to(measured(results, key), (n,)) for key in task.readings]
    return Block(np.column_stack([np.empty((n, 0)), *readings]), np.broadcast_to(reason, (n,)), aimed)


def _off(inputs: Inputs, errors: FloatN) -> Inputs:
    """The inputs with the furnace's heat account off by so many of its standard deviations."""
    if inputs.acid_feed is not None:
        return inputs  # no furnace
    results = solve(inputs)
    loss, s = errors * heat_error(results), inputs.smelting
    if s.heat_loss is not None:
        return inputs.replace("smelting.heat_loss", s.heat_loss + loss)
    per_tonne = s.heat_loss_per_tonne + loss / results.charge.concentrate_rate
    return inputs.replace("smelting.heat_loss_per_tonne", per_tonne)


def blocks(tasks: Iterable[Task], executor: Executor | None = None) -> Iterator[Block]:
    """The answers in the order of the tasks; at most a few per worker are under way or waiting.

    Whoever runs them, the numbers are the same to the last bit on the same kind of machine. Where a process
    of this machine is killed its pool is lost; this process then does the rest, and warns that it does.
    """
    window = 2 * (getattr(executor, "_max_workers", None) or os.cpu_count() or 1) + 2
    under_way: deque[tuple[Task, Future[Block] | None]] = deque()
    try:
        for task in tasks:
            under_way.append((task, _submitted(executor, task)))
            if executor is None or len(under_way) >= window:
                yield _answer(*under_way.popleft())
        while under_way:
            yield _answer(*under_way.popleft())
    finally:
        for _, future in under_way:
            if future is not None:
                future.cancel()


def _submitted(executor: Executor | None, task: Task) -> Future[Block] | None:
    """None where there is nobody to do it, or nobody any more."""
    if executor is None:
        return None
    try:
        return executor.submit(solve_task, task)
    except BrokenExecutor:
        return None


def _answer(task: Task, future: Future[Block] | None) -> Block:
    if future is None:
        return solve_task(task)
    try:
        return future.result()
    except BrokenExecutor:
        warnings.warn(
            "a worker was killed; the rest is worked out in this process", RuntimeWarning, stacklevel=3
        )
        return solve_task(task)


def processes(count: int) -> ProcessPoolExecutor:
    """Workers on this machine, which leave an interrupt to the process that started them."""
    context = multiprocessing.get_context("spawn")
    with _interrupts_ignored():  # by the workers from their first moment on, as they inherit it
        pool = ProcessPoolExecutor(count, mp_context=context, initializer=_ignore_interrupt)
        for _ in range(count):
            pool.submit(int)  # starts one
    return pool


@contextlib.contextmanager
def _interrupts_ignored() -> Iterator[None]:
    """Where this is the main thread; no other may change how signals are met."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _ignore_interrupt() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
