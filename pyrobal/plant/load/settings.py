"""Settings of the load on the acid plant over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import HOUR
from pyrobal.fields import choice, quantity

MOST_VESSELS = 5


def _start(vessel: int) -> FloatN | None:
    value: FloatN | None = quantity(
        "h", f"vessel {vessel} begins its cycle so long after the first; schedule given, else evenly spaced",
        default=None, low=0.0, high=200 * HOUR,
    )  # fmt: skip
    return value


@dataclass(frozen=True)
class LoadSettings:
    """How many batch vessels blow, and when.

    even : starts evenly spaced
    given : starts as stated
    flattest : starts that make the peak lowest
    limited : the shortest repeat, and the starts, at which no limit of the acid plant is passed
    """

    vessels: str = choice(
        "batch vessels in work", tuple(str(k) for k in range(1, MOST_VESSELS + 1)), default="2"
    )
    schedule: str = choice("how the starts are set", ("even", "given", "flattest", "limited"), default="even")
    start_2: FloatN | None = _start(2)
    start_3: FloatN | None = _start(3)
    start_4: FloatN | None = _start(4)
    start_5: FloatN | None = _start(5)

    @property
    def count(self) -> int:
        """K, the number of vessels."""
        return int(self.vessels)

    def starts(self, period: FloatN) -> list[FloatN]:
        """Start (N,) [s] of each vessel: as given under that schedule, else evenly spaced over the period."""
        given = [None, self.start_2, self.start_3, self.start_4, self.start_5][: self.count]
        even = [period * k / self.count for k in range(self.count)]
        if self.schedule != "given":
            return even
        return [e if g is None else np.asarray(g) for g, e in zip(given, even, strict=True)]
