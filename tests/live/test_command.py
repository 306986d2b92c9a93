"""The command: what it says, whom it tells the address, how it stops."""

from __future__ import annotations

import os
import signal
import socket
import stat
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from pyrobal.cli import live, main

ROOT = Path(__file__).parents[2]
SKERRY = str(ROOT / "cases" / "skerry_point.toml")


@contextmanager
def running(*words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command in a process of its own, and the address it says."""
    with subprocess.Popen(
        [sys.executable, "-m", "pyrobal", "live", "--no-browser", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    ) as process:  # fmt: skip
        try:
            assert process.stdout is not None
            yield process, process.stdout.readline().split()[-1]
        finally:
            process.kill()


def test_it_says_the_address_and_ctrl_c_stops_it() -> None:
    for ending in (signal.SIGINT, signal.SIGTERM):
        with running("cases/skerry_point.toml") as (process, address):
            assert address.startswith("http://127.0.0.1:")
            with urllib.request.urlopen(f"{address}case", timeout=60) as answer:
                assert answer.status == 200
            with urllib.request.urlopen(f"{address}changes", timeout=60) as open_page:
                assert open_page.readline() == b": here\n"
                process.send_signal(ending)
                _, said = process.communicate(timeout=20)
        assert process.returncode == 130
        assert said.strip() == "pyrobal: interrupted"


def test_a_port_of_ones_own() -> None:
    with closing(socket.create_server(("127.0.0.1", 0))) as free:
        port = free.getsockname()[1]
    with running("cases/skerry_point.toml", "--port", str(port)) as (_, address):
        assert address.startswith(f"http://127.0.0.1:{port}/")


def test_a_port_that_is_taken(capsys: pytest.CaptureFixture[str]) -> None:
    with closing(socket.create_server(("127.0.0.1", 0))) as taken:
        port = taken.getsockname()[1]
        assert main(["live", SKERRY, "--no-browser", "--port", str(port)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert f"port {port} cannot be used: Address already in use" in err


@pytest.mark.parametrize("words", [["--port", "70000"], ["--port", "x"], ["--port", "-1"]])
def test_a_port_there_is_not(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    assert main(["live", SKERRY, "--no-browser", *words]) == 2
    assert "--port" in capsys.readouterr().err


def test_a_file_there_is_not(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["live", str(tmp_path / "nothing.toml"), "--no-browser"]) == 2
    assert "there is no such file" in capsys.readouterr().err


def test_a_setting_there_is_not(capsys: pytest.CaptureFixture[str]) -> None:
    """What cannot be mended in the file ends it."""
    assert main(["live", SKERRY, "--no-browser", "--set", "smelting.enrichmnt=60 %"]) == 2
    assert 'did you mean "enrichment"' in capsys.readouterr().err


def test_a_faulty_case_is_served_with_its_faults(tmp_path: Path) -> None:
    file = tmp_path / "case.toml"
    file.write_text("[smelting]\nenrichmnt = 5\n", encoding="utf-8")
    with running(str(file)) as (process, address):
        with urllib.request.urlopen(f"{address}case", timeout=60) as answer:
            assert b"enrichmnt" in answer.read()
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=20)
    assert f"{file}:2: smelting.enrichmnt" in said


def test_without_its_libraries_it_says_what_brings_them(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in sys.modules if name.startswith("pyrobal.live")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    assert main(["live", SKERRY, "--no-browser"]) == 2
    assert "live needs uvicorn: pip install 'pyrobal[live]'" in capsys.readouterr().err


def test_the_address_reaches_the_browser_by_a_file_that_nobody_else_can_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The words of its command line are there for every user of the machine."""
    seen = threading.Event()
    found: dict[str, object] = {}

    def opened(word: str) -> bool:
        file = Path(word.removeprefix("file://"))
        found.update(
            word=word, text=file.read_text(encoding="utf-8"), mode=os.stat(file.parent).st_mode, file=file
        )
        seen.set()
        return True

    monkeypatch.setattr(live.webbrowser, "open", opened)
    with live._opening("http://127.0.0.1:1/SECRET/"):
        assert seen.wait(20)
    assert "SECRET" not in str(found["word"])
    assert "http://127.0.0.1:1/SECRET/" in str(found["text"])
    assert stat.S_IMODE(int(str(found["mode"]))) == 0o700
    assert not Path(str(found["file"])).exists()


def test_where_no_browser_starts_it_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(live.webbrowser, "open", lambda _: False)
    live._open("file:///nowhere")
    assert "open the address in yours" in capsys.readouterr().err
