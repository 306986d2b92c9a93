"""The pages that are made from the code say what the code says today."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_generated_pages_are_current() -> None:
    done = subprocess.run(
        [sys.executable, "docs/generate.py", "--check"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr[-2000:]
