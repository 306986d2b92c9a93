"""The bar of long work, and what an interrupt of it says: seen by a terminal, not by a pipe."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from processes import hear_interrupts

ROOT = Path(__file__).parents[2]
SKERRY, MARRAM = (str(ROOT / "cases" / f"{name}.toml") for name in ("skerry_point", "marram_sound"))
READ = ("--read", "smelting.heat.surplus")
SWEEP = (
    "sweep",
    SKERRY,
    "--over",
    "smelting.matte_grade=60:70 %:40",
    "--chunk",
    "10",
    "--workers",
    "1",
    *READ,
)
X, Y = "smelting.matte_grade=60:70 %", "smelting.fe_sio2=1.1:1.4"


def on_a_terminal(*arguments: str, interrupt: bool = False) -> tuple[int, str, str]:
    """Exit code, standard output, and what the terminal saw; interrupted once the bar is there."""
    terminal, theirs = pty.openpty()
    line = [sys.executable, "-m", "pyrobal", *arguments]
    process = subprocess.Popen(
        line, stdout=subprocess.PIPE, stderr=theirs, text=True, cwd=ROOT, start_new_session=True,
        preexec_fn=hear_interrupts,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
    )  # fmt: skip
    os.close(theirs)
    seen = b""
    sent, again = not interrupt, 0.0
    while True:
        try:
            block = os.read(terminal, 4096)
        except OSError:  # the last writer has gone
            break
        if not block:
            break
        seen += block
        if not sent:
            time.sleep(0.5)
        if not sent or (interrupt and time.monotonic() > again):
            os.killpg(process.pid, signal.SIGINT)
            sent, again = True, time.monotonic() + 4.0  # pressed again where a library swallowed the first
    os.close(terminal)
    out, _ = process.communicate(timeout=20)
    return process.returncode, out, seen.decode()


def test_a_terminal_sees_how_far_it_is() -> None:
    code, out, seen = on_a_terminal(*SWEEP)
    assert code == 0
    assert "40 of 40" in seen
    assert "of 40" not in out


def test_a_pipe_sees_no_bar() -> None:
    line = [sys.executable, "-m", "pyrobal", *SWEEP]
    process = subprocess.run(line, capture_output=True, text=True, check=True, cwd=ROOT)
    assert "rows" in process.stderr
    assert "of 40" not in process.stderr
    assert "\x1b" not in process.stderr + process.stdout


@pytest.mark.parametrize(
    "line",
    [
        ("sweep", MARRAM, "--over", "smelting.matte_grade=60:70 %:3000", "--workers", "2", *READ),
        ("window", MARRAM, "--x", X, "--y", Y, "--limit", "smelting.heat.surplus>=0"),
        ("uncertainty", MARRAM, *READ),
        ("sensitivity", MARRAM, *READ),
        ("blend", MARRAM),
        ("balance", MARRAM, "--aim", "acid.production=100 t/h", "--by", "smelting.enrichment"),
    ],
    ids=lambda line: line[0],
)
def test_an_interrupt_is_one_line_and_leaves_nobody_behind(line: tuple[str, ...]) -> None:
    code, out, seen = on_a_terminal(*line, interrupt=True)
    assert code == 130
    assert out == ""
    assert "Traceback" not in seen
    assert seen.count("pyrobal: interrupted; nothing was written") == 1
