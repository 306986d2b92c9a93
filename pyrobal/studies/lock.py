"""One run at a time in a folder. The system takes the lock back when its run ends, however it ends."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

LOCK: Final = "_running.json"  # readers of a folder of Parquet files pass over a leading underscore


class Locked(Exception):
    """Another run is at work; the message says which, and since when."""


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Within it no other run on this folder gets as far. Windows has no such lock; there it is only a note.

    Raises Locked where another run has it, OSError where the folder takes no file.
    """
    path = folder / LOCK
    handle = _taken(path)
    try:
        os.ftruncate(handle, 0)
        os.write(handle, json.dumps(_this_run()).encode())
        yield
    finally:
        path.unlink(missing_ok=True)
        os.close(handle)


def _taken(path: Path) -> int:
    """The file of the lock, open and ours; where its last owner has just removed it, a new one."""
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        try:
            _lock(handle)
            if os.path.samestat(os.fstat(handle), path.stat()):
                return handle
        except FileNotFoundError:
            pass
        except BlockingIOError:
            os.close(handle)
            raise Locked(_owner(path)) from None
        os.close(handle)


def _lock(handle: int) -> None:
    """Raises BlockingIOError where another process has it; a dead one has nothing."""
    if sys.platform != "win32":
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _this_run() -> dict[str, str | int]:
    return {"process": os.getpid(), "host": socket.gethostname(), "since": time.strftime("%Y-%m-%d %H:%M:%S")}


def _owner(path: Path) -> str:
    try:
        run = json.loads(path.read_text(encoding="utf-8"))
        return f"process {run['process']} on {run['host']}, since {run['since']}"
    except (OSError, ValueError, KeyError, TypeError):  # it is just beginning, or just done
        return "a process that has just begun or is about to end"
