"""The command line: parse, call, print, exit code. No mathematics, and nothing heavy until a command runs.

Exit codes: 0 done, 1 infeasible or not converged, 2 the case or the command line is wrong, 130 interrupted.
"""

from __future__ import annotations

import io
import os
import signal
import sys
from collections.abc import Sequence

import click

from pyrobal.cli.commands import pyrobal
from pyrobal.errors import CaseError, NotSolved

WRONG, INFEASIBLE, INTERRUPTED = 2, 1, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; without ``arguments``, that of the process's own line."""
    _work_on_one_thread()
    if arguments is None:
        _behave_as_a_filter()
    try:
        code = pyrobal.main(arguments, prog_name="pyrobal", standalone_mode=False)
        sys.stdout.flush()
    except click.Abort as error:
        click.echo(f"pyrobal: interrupted{f'; {error}' if str(error) else ''}", err=True)
        return INTERRUPTED
    except click.ClickException as error:
        error.show()
        return WRONG
    except CaseError as error:
        return _report(error)
    except NotSolved as error:
        click.echo(f"pyrobal: no balance: {error}", err=True)
        return INFEASIBLE
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        click.echo(f"pyrobal: {place}{error.strerror or error}", err=True)
        return WRONG
    return code if isinstance(code, int) else 0


def _work_on_one_thread() -> None:
    """Matrices here are a few unknowns wide, and threads of a BLAS library would only wait for each other.

    More cores are used by more processes. What the user has set stays.
    """
    for library in ("OPENBLAS", "MKL", "OMP"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")


def _behave_as_a_filter() -> None:
    """A reader that goes away ends the process quietly; a letter the terminal lacks is escaped."""
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")


def _report(error: CaseError) -> int:
    for fault in error.faults:
        click.echo(str(fault), err=True)
    count = len(error.faults)
    click.echo(f"pyrobal: {count} {'fault' if count == 1 else 'faults'}; nothing was computed", err=True)
    return WRONG
