"""The pages that are made from the code say what the code says today, and their Python runs."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def test_generated_pages_are_current() -> None:
    done = subprocess.run(
        [sys.executable, "docs/generate.py", "--check"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr[-2000:]


@pytest.mark.parametrize("page", ["README.md", "docs/studies.md"])
def test_the_python_of_a_page_runs(page: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """All blocks of a page in one go, as a reader would type them below each other."""
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / page).read_text(encoding="utf-8"), re.DOTALL)
    assert blocks
    monkeypatch.chdir(ROOT)
    exec(compile("\n".join(blocks), page, "exec"), {})
