"""The command line: parse, call, print, exit code. No mathematics, and nothing heavy until a command runs.

Exit codes: 0 done, 1 infeasible or not converged, 2 the case or the command line is wrong, 130 interrupted.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Sequence

import click

from pyrobal.cli.commands import pyrobal
from pyrobal.cli.streams import open_streams, say, say_not_written, say_wrong_line
from pyrobal.errors import MOST_FAULTS, CaseError, NotSolved

WRONG, INFEASIBLE, INTERRUPTED = 2, 1, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; without ``arguments``, that of the process's own line."""
    _work_on_one_thread()
    if arguments is None:
        open_streams()
        _end_as_if_interrupted()
    try:
        code = pyrobal.main(arguments, prog_name="pyrobal", standalone_mode=False)
        sys.stdout.flush()
    except click.Abort as error:
        say(f"pyrobal: interrupted{f'; {error}' if str(error) else ''}")
        return INTERRUPTED
    except click.ClickException as error:
        say_wrong_line(error)
        return WRONG
    except CaseError as error:
        return _report(error)
    except NotSolved as error:
        say(f"pyrobal: no balance: {error}")
        return INFEASIBLE
    except OSError as error:
        say_not_written(error)
        return WRONG
    return code if isinstance(code, int) else 0


def _work_on_one_thread() -> None:
    """Matrices here are a few unknowns wide, and threads of a BLAS library would only wait for each other.

    More cores are used by more processes. What the user has set stays.
    """
    for library in ("OPENBLAS", "MKL", "OMP"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")


def _end_as_if_interrupted() -> None:
    """Whoever ends the process politely gets what Ctrl-C gets, unless that was to be ignored."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    if signal.getsignal(signal.SIGTERM) == signal.SIG_DFL:
        signal.signal(signal.SIGTERM, interrupt)


def _report(error: CaseError) -> int:
    for fault in error.faults:
        say(str(fault))
    n = len(error.faults)
    count = f"more than {MOST_FAULTS} errors" if n > MOST_FAULTS else f"{n} error{'s' * (n > 1)}"
    say(f"pyrobal: {count}; nothing was computed")
    return WRONG
