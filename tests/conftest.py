"""Shared by all tests: the folder of helpers on the path."""

from __future__ import annotations

import sys
from pathlib import Path

for folder in (".", "published"):
    sys.path.insert(0, str(Path(__file__).parent / folder))
