"""Shared by all tests: the folder of shared files on the path, and one thread for small matrices."""

from __future__ import annotations

import os
import sys
from collections.abc import Generator
from pathlib import Path

import pytest

for folder in (".", "published"):
    sys.path.insert(0, str(Path(__file__).parent / folder))

for library in (
    "OPENBLAS",
    "MKL",
    "OMP",
):  # read when numpy is first imported; threads would wait for each other
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

if sys.dont_write_bytecode:  # each command that tests start would compile the whole package again
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False
    sys.pycache_prefix = str(Path(__file__).parents[1] / ".pytest_cache" / "bytecode")
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix


@pytest.fixture
def solved_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands do not solve again what was solved before; where what they print is the subject."""
    from demos import remembered

    monkeypatch.setattr("pyrobal.report.result.solve", remembered)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Laws over every setting of the whole plants, which take minutes; else another twentieth of them every day."""
    parser.addoption("--every-setting", action="store_true", help="laws over every setting, not a twentieth")


@pytest.hookimpl(wrapper=True)
def pytest_xdist_auto_num_workers() -> Generator[None, int, int]:
    """Two more than there are cores: tests wait for the commands and browsers that they start."""
    return (yield) + 2
