"""One sentence about a result."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Message:
    """level : "limit" (no answer), "caution" (look at this), "note" or "safety"; key : reading or setting."""

    level: str
    key: str
    text: str
