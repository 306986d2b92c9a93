"""A file is written whole, or stays as it was: beside its place first, then moved there."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path


def put(file: str | Path, save: Callable[[Path], object]) -> None:
    """Let ``save`` write beside ``file`` and move it there: an interrupt or a full disk halves nothing.

    A pipe, a device, or a file in a directory that takes no other, is written where it is.
    Raises OSError with the name that was given.
    """
    target = Path(os.path.realpath(file))
    try:
        if target.exists() and not (target.is_file() and os.access(target.parent, os.W_OK)):
            save(target)
        else:
            _move(target, save)
    except OSError as error:
        raise OSError(error.errno, error.strerror or str(error), str(file)) from None


def _move(target: Path, save: Callable[[Path], object]) -> None:
    beside = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        save(beside)
        if target.exists():
            shutil.copymode(target, beside)
        beside.replace(target)
    finally:
        beside.unlink(missing_ok=True)
