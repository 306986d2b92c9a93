"""What was written in a case, each value with the place where it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from pyrobal.case.lines import Path, key_lines
from pyrobal.errors import Fault


@dataclass(frozen=True)
class Document:
    """What was written.

    file : as the user named it
    text : as it was read, without a byte-order mark
    values : tables, arrays, strings and numbers
    slips : lines that are not TOML (``readable`` is the text without them) and --set that found no place
    overridden : paths whose values came with --set
    dropped : what was written and could not stand beside them
    cells : path -> the file and cell it came from, of what stands in a sheet
    beside : other files that were read
    """

    file: str
    text: str
    values: dict[str, Any]
    readable: str = ""
    slips: tuple[Fault, ...] = ()
    overridden: frozenset[Path] = frozenset()
    dropped: tuple[Fault, ...] = ()
    cells: Mapping[Path, str] = field(default_factory=dict)
    beside: tuple[str, ...] = ()

    @cached_property
    def lines(self) -> dict[Path, int]:
        """Path -> 1-based line; worked out only when a place has to be named."""
        return key_lines(self.readable)

    def fault(self, path: Path, key: str, text: str) -> Fault:
        """A fault at ``path``, or at the nearest table around it that was written."""
        for end in range(len(path), 0, -1):
            here = path[:end]
            line = None if here in self.overridden else self.lines.get(here)
            if line is not None:
                return Fault(self.file, line, key, text)
            if here in self.cells and here not in self.overridden:
                return Fault(self.cells[here], None, key, text)
            if any(given[:end] == here for given in self.overridden):
                return Fault("--set", None, key, text)
        return Fault(self.file, None, key, text)
