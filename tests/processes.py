"""Processes that tests start: as a person at a terminal would, whoever started the tests."""

from __future__ import annotations

import signal


def hear_interrupts() -> None:
    """Called in a new process before it runs: a job in the background of a shell would ignore Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
