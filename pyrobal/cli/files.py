"""Files that commands write: whole, or as they were before."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click


def write(file: str, text: str) -> None:
    """Write ``text`` to a file, or to standard output for "-"."""
    if file == "-":
        click.echo(text)
    else:
        put(file, lambda path: Path(path).write_text(f"{text}\n", encoding="utf-8"))


def put(file: str, save: Callable[[str], object]) -> None:
    """Let ``save`` write beside ``file`` and move it there: an interrupt or a full disk halves nothing."""
    target = Path(file).resolve()
    if target.exists() and not (target.is_file() and os.access(target.parent, os.W_OK)):
        save(file)  # a pipe, a device, or a file in a directory that takes no other
        return
    beside = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        save(str(beside))
        beside.replace(target)
    except OSError as error:
        raise OSError(error.errno, error.strerror, file) from None  # the name that the user gave
    finally:
        beside.unlink(missing_ok=True)


@contextmanager
def needs(flag: str, extra: str) -> Iterator[None]:
    """Within it, a library that is not installed is told as what ``flag`` needs."""
    try:
        yield
    except ModuleNotFoundError as error:
        raise click.UsageError(f"{flag} needs {error.name}: pip install 'pyrobal[{extra}]'") from None
