"""Lines within a width, however small: below ``NARROW`` columns one value stands under the other."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from rich.cells import cell_len, chop_cells
from rich.console import Console
from rich.text import Text

NARROW: Final = 48  # columns of a terminal, below which a table is no table any more
INDENT: Final = 2  # of notes, and of what stands below the name of a row


def print_stacked(console: Console, name: str, values: Iterable[str]) -> None:
    """A row on a narrow terminal: its name, and below it one value under the other."""
    room = max(console.width - INDENT, 1)
    lines = [*folded(name, console.width, " .")] if name else []
    lines += [" " * INDENT + line for value in values for line in folded(value, room)]
    console.print(Text("\n".join(lines)), soft_wrap=True)


def folded(text: str, width: int, after: str = " ") -> list[str]:
    """``text`` in lines, broken only after one of the characters ``after`` where that is possible."""
    lines = [""]
    for piece in re.findall(f"[^{after}]*[{after}]|[^{after}]+", text):
        if cell_len(lines[-1]) + cell_len(piece.rstrip()) > width and lines[-1]:
            lines.append("")
        *full, last = chop_cells(piece, width) if cell_len(piece) > width else [piece]
        lines[-1:] = [*(lines[-1] + one for one in full[:1]), *full[1:], lines[-1] * (not full) + last]
    return [line.rstrip() for line in lines]
