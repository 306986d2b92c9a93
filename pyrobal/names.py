"""Names people write: which are allowed, and which one they probably meant."""

from __future__ import annotations

import difflib
import functools
import unicodedata
from collections.abc import Iterable
from typing import Final

_CLOSE: Final = 0.7  # likeness of two names, or of each part of two keys
_LISTED: Final = 12  # allowed names that a person reads
_STEM: Final = 3  # letters that begin a name and may stand for it
_ALIKE: Final = 0.85  # of two keys as a whole, whatever their parts
_LATIN: Final = str.maketrans(  # letters of other scripts that look like one of ours
    "АВСЕНІЈКМОРЅТХУаеосрхуѕіјΑΒΕΖΗΙΚΜΝΟΡΤΥΧο",
    "ABCEHIJKMOPSTXYaeocpxysijABEZHIKMNOPTYXo",
)


def nearest(name: str, allowed: Iterable[str]) -> str | None:
    """The allowed name most like ``name``, letter case and dashes aside; None where none is like it.

    A dotted key may be the beginning or the end of the one that is meant; each of its parts must be like.
    """
    best, likeness = None, (0.0, 0.0)
    wanted = _folded(name)
    for other in dict.fromkeys(allowed):
        found = _likeness(wanted, _folded(other))
        if found[0] >= _CLOSE and found > likeness:
            best, likeness = other, found
    return best


def _folded(name: str) -> str:
    return (
        unicodedata.normalize("NFKC", name).translate(_LATIN).casefold().replace("-", "_").replace(" ", "_")
    )


def _likeness(name: str, other: str) -> tuple[float, float]:
    """How like two keys are part by part, and then as a whole; 1 is the same."""
    whole = _ratio(name, other)
    a, b = name.split("."), other.split(".")
    parts = [min(map(_ratio, a, side)) for side in (b[: len(a)], b[-len(a) :]) if len(side) == len(a)]
    return max(*parts, whole if whole >= _ALIKE else 0.0, 0.0), whole


@functools.lru_cache(maxsize=10_000)  # keys are made of the same few parts
def _ratio(a: str, b: str) -> float:
    """How like two words are; of one that is cut short, enough to be taken for the whole."""
    if a == b:
        return 1.0
    short, long = sorted((a, b), key=len)
    if 2 * len(short) >= _CLOSE * (len(a) + len(b)):  # as much as they can share
        matcher = difflib.SequenceMatcher(None, a, b)
        if matcher.quick_ratio() >= _CLOSE and (ratio := matcher.ratio()) >= _CLOSE:
            return ratio
    return _CLOSE if len(short) >= _STEM and long.startswith(short) else 0.0


def suggestion(name: str, allowed: Iterable[str], otherwise: str = "") -> str:
    """``did you mean "x"?``; where nothing is like it ``otherwise``, or the first of the allowed names."""
    allowed = list(allowed)
    near = nearest(name, allowed)
    if near is not None:
        return f'{foreign(name)}did you mean "{near}"?'
    if otherwise or not allowed:
        return otherwise or "there is none"
    shown = ", ".join(allowed[:_LISTED])
    return f"allowed: {shown}{', ...' if len(allowed) > _LISTED else ''}"


def foreign(name: str) -> str:
    """Which letter of ``name`` only looks like a Latin one, for the sentence that follows."""
    for letter in name:
        if letter.translate(_LATIN) != letter:
            return f'its "{letter}" is the letter {unicodedata.name(letter)}, not a Latin one; '
    return ""


def unfit(name: str) -> str | None:
    """Why a user's name cannot be part of a dotted key; None where it can."""
    if not name.strip():
        return "is empty; a name is needed"
    if name != name.strip():
        return "begins or ends with a space"
    if any(mark in name for mark in '.="'):
        return f'{shortened(name)} holds a dot, a quote or "="; names become parts of dotted keys'
    if not name.isprintable():
        return f"{shortened(name)} holds a character that cannot be seen"
    if len(name) > 80:
        return f"{shortened(name)} is longer than 80 characters"
    return None


def printable(text: str) -> str:
    """``text`` on one line, with the code of each character that cannot be seen or turns the direction."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def shortened(text: str, most: int = 60) -> str:
    """``text`` in quotes, on one line, cut where it is long."""
    line = printable(text)
    return f'"{line}"' if len(line) <= most else f'"{line[:most]}..."'
