"""The three streams a command is given, closed ones among them, and what is said on them."""

from __future__ import annotations

import errno
import io
import os
import signal
import sys

import click

from pyrobal.names import printable


def open_streams() -> None:
    """Behave as a filter does: quiet where the reader goes away, an error where there is none to write to.

    A closed stream comes to lead nowhere, so that no file that is opened takes its place: what is printed
    there fails, what is said of errors is lost. A letter that the terminal lacks is escaped.
    """
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    while (number := os.open(os.devnull, os.O_RDONLY)) <= 2:
        pass  # the lowest free number is that of a closed stream
    os.close(number)
    if sys.stdout is None:
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115 # only read, so it fails
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")


def say(text: str) -> None:
    """One message on standard error; no letter of it steers the terminal."""
    click.echo("\n".join(map(printable, text.split("\n"))), err=True)


def say_wrong_line(error: click.ClickException) -> None:
    """What is wrong with the command line, with how it is used."""
    with io.StringIO() as text:
        error.show(file=text)
        say(text.getvalue().rstrip("\n"))


def say_not_written(error: OSError) -> None:
    """What could not be read or written; of standard output, what it still holds is let go."""
    if error.filename is not None:
        say(f"pyrobal: {error.filename}: {error.strerror or error}")
        return
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    why = "is closed" if error.errno == errno.EBADF else error.strerror or error
    say(f"pyrobal: standard output: {why}")
