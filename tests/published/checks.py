"""The shape of every comparison with a published value: one row of a validation table."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

PUBLISHED, PRACTICE, MEMORY = "published", "common practice", "from memory"
KINDS = (PUBLISHED, PRACTICE, MEMORY)


@dataclass(frozen=True)
class Check:
    """A published value beside the computed one.

    topic : heading under which the docs list it
    what : the quantity, in words, with its state
    source : the publication, with page or table where known; "from memory" where it was not seen
    published, computed : in ``unit``
    tolerance : largest difference that still counts as agreement, in ``unit``
    why : where the tolerance comes from
    """

    topic: str
    what: str
    source: str
    published: float
    computed: float
    unit: str
    tolerance: float
    why: str

    @property
    def kind(self) -> str:
        """What the published value rests on: one of ``KINDS``, as its source says."""
        return next((kind for kind in (PRACTICE, MEMORY) if kind in self.source.lower()), PUBLISHED)

    @property
    def difference(self) -> float:
        """Computed less published; NaN where either is."""
        return self.computed - self.published

    @property
    def ok(self) -> bool:
        """Within the tolerance; a NaN never is."""
        return math.isfinite(self.difference) and abs(self.difference) <= self.tolerance

    def __str__(self) -> str:
        mark = "ok " if self.ok else "OFF"
        return (
            f"{mark} {self.what:58s} {self.published:12.4g} {self.computed:12.4g} {self.difference:+10.3g}"
            f" (+-{self.tolerance:.3g}) {self.unit:10s} {self.source}"
        )


def listing(checks: Iterable[Check]) -> str:
    """All rows as text, for ``pytest -s``."""
    return "\n".join(str(check) for check in checks)
