"""Names people write: which are allowed, and which one they probably meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(name: str, allowed: Iterable[str]) -> str | None:
    """The allowed name closest to ``name``, case aside; None where none is close."""
    folded = {a.casefold(): a for a in allowed}
    near = difflib.get_close_matches(name.casefold(), folded, n=1, cutoff=0.55)
    return folded[near[0]] if near else None


def suggestion(name: str, allowed: Iterable[str], most: int = 12) -> str:
    """``did you mean "x"?``, or the allowed names where they are few enough to read."""
    allowed = list(allowed)
    near = nearest(name, allowed)
    if near is not None:
        return f'did you mean "{near}"?'
    if not allowed:
        return "there is none"
    shown = ", ".join(allowed[:most])
    return f"allowed: {shown}{', ...' if len(allowed) > most else ''}"


def unfit(name: str) -> str | None:
    """Why a user's name cannot be part of a dotted key; None where it can."""
    if not name.strip():
        return "is empty; a name is needed"
    if name != name.strip():
        return "begins or ends with a space"
    if any(mark in name for mark in '.="'):
        return f'{shortened(name)} holds a dot, a quote or "="; names become parts of dotted keys'
    if not name.isprintable():
        return "holds a control character"
    if len(name) > 80:
        return f"{shortened(name)} is longer than 80 characters"
    return None


def shortened(text: str, most: int = 60) -> str:
    """``text`` in quotes, on one line, cut where it is long."""
    line = "".join(c if c.isprintable() else " " for c in text)
    return f'"{line}"' if len(line) <= most else f'"{line[:most]}..."'
