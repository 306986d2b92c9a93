"""Who works out the parts of a study, and the bar that shows how far they are."""

from __future__ import annotations

import contextlib
import math
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any

import click

from pyrobal.cli.streams import say

if TYPE_CHECKING:
    from concurrent.futures import Executor, ProcessPoolExecutor

Executors = Callable[..., AbstractContextManager["Executor | None"]]  # called with how many parts there are
_MANY = 4  # parts that are worth starting processes for
_EVERY = 10.0  # seconds between two lines of how far a search is


def _nothing() -> str:
    return "nothing was written"


class Interrupted(click.Abort):
    """Somebody pressed Ctrl-C; the message says what is left of the work."""


@contextlib.contextmanager
def executor_of(
    workers: int | None, cluster: str | None, parts: int | None = None
) -> Iterator[Executor | None]:
    """A cluster, processes of this machine, or None for this process.

    parts : how many there are; every core is used where they are many, unless ``workers`` says otherwise
    """
    if cluster is not None:
        with _lost_workers_are_errors(), _client(cluster) as client:
            yield client.get_executor()
        return
    many = parts is not None and parts >= _MANY
    count = min(workers or (os.cpu_count() or 1 if many else 1), parts or workers or 1)
    if count == 1:
        yield None
        return
    from pyrobal.studies.run import processes

    with _lost_workers_are_errors():
        pool = processes(count)
        try:
            yield pool
        except BaseException:
            _dismiss(pool)
            raise
        pool.shutdown(cancel_futures=True)


def _dismiss(pool: ProcessPoolExecutor) -> None:
    """End the workers at once: nobody waits for their parts, nor for what the pool says of their loss."""
    before, threading.excepthook = threading.excepthook, lambda _: None
    try:
        for child in multiprocessing.active_children():
            child.terminate()
        pool.shutdown(cancel_futures=True)
    finally:
        threading.excepthook = before


@contextlib.contextmanager
def _lost_workers_are_errors() -> Iterator[None]:
    """A filter ends quietly when its reader goes; a study must not when a worker does."""
    quiet = hasattr(signal, "SIGPIPE") and signal.getsignal(signal.SIGPIPE) == signal.SIG_DFL
    if quiet:
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    try:
        yield
    finally:
        if quiet:
            signal.signal(signal.SIGPIPE, signal.SIG_DFL)


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ModuleNotFoundError:
        raise click.UsageError("--cluster needs Dask: pip install 'pyrobal[distributed]'") from None
    try:
        return Client(address, timeout="10s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise click.UsageError(f"--cluster: no scheduler answers at {address}: {error}") from None


@contextlib.contextmanager
def progress(doing: str, kept: Callable[[], str] = _nothing) -> Iterator[Callable[[int, int], object]]:
    """A bar on standard error where a person watches it; where nobody can say how much there is to do, it
    moves and shows the time.

    Yields what to call with each further number that is done, and of how many.
    kept : says what an interrupt leaves
    """
    try:
        if sys.stderr.isatty():
            with _bar(doing) as advance:
                yield advance
        else:
            yield lambda *_: None
    except KeyboardInterrupt:
        raise Interrupted(kept()) from None


@contextlib.contextmanager
def searching(doing: str, found: str, unit: str = "") -> Iterator[Callable[[int, float], object]]:
    """How far a search is of which nobody can say how long it takes: a bar that moves on a terminal, else a
    line on standard error every ten seconds, also while nothing new is known.

    Yields what to call with how many points were looked at and the best value so far, -inf for none.
    doing : what is searched, "blend"; found : what the value is, "margin"
    """
    from pyrobal.units import behind

    known = ""

    def advance(done: int, best: float) -> None:
        nonlocal known
        value = f"{found} {_figure(best)}{behind(unit)}" if best > -math.inf else "none yet within all limits"
        known = f"{doing} {done}, {value}"

    with progress(doing), _lines(lambda: f"still searching: {known or doing}"):
        yield advance


def _figure(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1e3 else f"{value:.4g}"


@contextlib.contextmanager
def _lines(text: Callable[[], str]) -> Iterator[None]:
    """What ``text`` says now and again, where no terminal shows a bar."""
    if sys.stderr.isatty():
        yield
        return
    over = threading.Event()

    def speak() -> None:
        while not over.wait(_EVERY):
            say(text())

    speaker = threading.Thread(target=speak, daemon=True)
    speaker.start()
    try:
        yield
    finally:
        over.set()
        speaker.join()


@contextlib.contextmanager
def _bar(doing: str) -> Iterator[Callable[[int, int], object]]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(30), TextColumn("{task.fields[of]}"))
    console = Console(stderr=True, highlight=False)
    with Progress(*columns, TimeElapsedColumn(), console=console, transient=True) as bar:
        task = bar.add_task(doing, total=None, of="")
        begun, before = time.monotonic(), 0

        def advance(done: int, total: int) -> None:
            nonlocal before
            before += done
            left = (time.monotonic() - begun) * (total - before) / max(before, 1)
            bar.update(task, completed=before, total=total, of=f"{before:,} of {total:,}, {left:.0f} s left")

        yield advance
