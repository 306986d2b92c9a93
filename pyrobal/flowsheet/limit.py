"""What the user of a case holds its readings to. It judges the answer and changes nothing in it."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.fields import bound, reading_key, text


@dataclass(frozen=True, eq=False)
class LimitSettings:
    """One bound on one reading.

    most, least : (N,) or (1,) in SI, one of them None
    unit : the plant unit of the reading, in which the bound is written
    """

    name: str = text("name, shown wherever it binds")
    reading: str = reading_key("reading that is judged")
    most: FloatN | None = bound("most of the reading; either this or least")
    least: FloatN | None = bound("least of the reading; either this or most")
    unit: str = "-"

    @property
    def upper(self) -> bool:
        """Whether the bound is the most."""
        return self.most is not None

    @property
    def bound(self) -> FloatN:
        """(N,) in SI."""
        found = self.least if self.most is None else self.most
        assert found is not None  # a case without either is refused
        return found
