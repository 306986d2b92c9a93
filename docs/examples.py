"""What the examples of a page print today: its commands, its Python, and the files it shows, run in one folder.

- a block ``console``: each line that begins with ``$ pyrobal`` is run, what it prints stands below it
- a block ``python``: run as one script with those before it; a block ``text`` right behind it is what it printed
- a block whose first line is ``# file: NAME``: written there
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import shutil
import tempfile
from pathlib import Path
from typing import Any
from unittest import mock

ROOT = Path(__file__).resolve().parents[1]
_BLOCK = re.compile(r"```(\w+)\n(.*?)```(?:\n\n```text\n.*?```)?", re.DOTALL)
_LONGEST = 60  # lines of what a command prints


def filled(text: str) -> str:
    """The page with what its examples print. Raises RuntimeError where one fails."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(ROOT / "cases", Path(folder) / "cases")
        names: dict[str, Any] = {}
        with contextlib.chdir(folder):
            return _BLOCK.sub(lambda block: _run(block, names), text)


def _run(block: re.Match[str], names: dict[str, Any]) -> str:
    language, body = block[1], block[2]
    if body.startswith("# file: "):
        Path(body.partition("\n")[0].removeprefix("# file: ").strip()).write_text(body, encoding="utf-8")
    if language == "console":
        return _console(body)
    if language == "python":
        return _python(block, body, names)
    return block[0]


def _console(body: str) -> str:
    commands = [line for line in body.splitlines() if line.startswith("$ pyrobal")]
    if not commands:
        return f"```console\n{body}```"
    return "```console\n" + "\n\n".join(_command(line.removeprefix("$ ")) for line in commands) + "\n```"


def _command(command: str) -> str:
    said = printed(command, 90)
    said = said if len(said) <= _LONGEST else [*said[:_LONGEST], "..."]
    return "\n".join([f"$ {command}", *said])


def printed(command: str, columns: int) -> list[str]:
    """The lines that a command prints into a pipe, what it complains of last."""
    from pyrobal.cli import main

    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    with (
        mock.patch.dict(os.environ, NO_COLOR="1", COLUMNS=str(columns)),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        main(shlex.split(command)[1:])
    said = ""
    for stream in (out, err):
        stream.seek(0)
        said += stream.read()
    return [line.rstrip() for line in said.strip().splitlines()]


def _python(block: re.Match[str], body: str, names: dict[str, Any]) -> str:
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(body, "example", "exec"), names)
    own = f"```python\n{body}```"
    return f"{own}\n\n```text\n{printed.getvalue().rstrip()}\n```" if printed.getvalue() else own
