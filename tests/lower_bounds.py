"""Prints constraints that hold every library of pyproject at the lowest version it allows.

python tests/lower_bounds.py > constraints.txt && pip install -c constraints.txt ".[dev]"
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path

PYPROJECT = Path(__file__).parents[1] / "pyproject.toml"
_LOWEST = re.compile(r"(?P<name>[\w.-]+)(?:\[[\w,]+\])?\s*>=\s*(?P<version>[\w.]+)")


def constraints(requirements: Iterable[str]) -> Iterator[str]:
    """``name==version`` for each requirement with a lower bound; what is pinned on both sides stays."""
    for requirement in requirements:
        if match := _LOWEST.match(requirement):
            yield f"{match['name']}=={match['version']}"


def requirements() -> list[str]:
    """Every requirement of the package and of its extras."""
    project = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]
    return [
        *project["dependencies"],
        *(r for extra in project["optional-dependencies"].values() for r in extra),
    ]


if __name__ == "__main__":
    print("\n".join(constraints(requirements())))
