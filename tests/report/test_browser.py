"""Where a browser must be there, its tests fail without one; nowhere else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from .browser import REQUIRED


@pytest.mark.parametrize("required", [True, False])
def test_without_a_browser_its_tests_fail_where_one_is_required(required: bool, tmp_path: Path) -> None:
    page = Path(__file__).with_name("test_window_page.py")
    environment = {**os.environ, "PATH": str(tmp_path)}
    environment.pop(REQUIRED, None)
    line = [
        sys.executable,
        "-m",
        "pytest",
        "-n",
        "0",
        "-q",
        "-p",
        "no:cacheprovider",
        "-k",
        "browser",
        str(page),
    ]
    process = subprocess.run(
        line, capture_output=True, text=True, check=False, cwd=page.parents[2],
        env=environment | ({REQUIRED: "1"} if required else {}),
    )  # fmt: skip
    assert process.returncode == (1 if required else 0), process.stdout
    assert ("there is no Chromium" if required else "skipped") in process.stdout
