"""Shared by all tests: the folder of shared files on the path, and one thread for small matrices."""

from __future__ import annotations

import os
import sys
from pathlib import Path

for folder in (".", "published"):
    sys.path.insert(0, str(Path(__file__).parent / folder))

for library in (
    "OPENBLAS",
    "MKL",
    "OMP",
):  # read when numpy is first imported; threads would wait for each other
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")
