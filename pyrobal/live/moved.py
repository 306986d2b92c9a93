"""What moved between two states of a page, the most affected first."""

from __future__ import annotations

import math
from typing import Any, Final

from pyrobal.report.compare import Change, compare
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number
from pyrobal.report.result import Result

MOST: Final = 10
_DIGITS: Final = 3  # of a change in per cent


def moved(before: Result, now: Result) -> dict[str, Any]:
    """The readings that differ the most, and how many more do."""
    found = compare(before, now)
    return {
        "moved": [_row(change.told) for change in found.readings[:MOST]],
        "more": max(len(found.readings) - MOST, 0),
        "same": found.same,
    }


def _row(change: Change) -> dict[str, str]:
    before, after = (number(x) for x in change.values)
    share = change.relative
    told = f"{number(100.0 * share, _DIGITS)} %" if math.isfinite(share) else ""
    return {
        "key": change.key, "label": capital(label(change.key)), "meaning": change.meaning,
        "unit": change.unit, "before": before, "now": after, "share": told,
    }  # fmt: skip
