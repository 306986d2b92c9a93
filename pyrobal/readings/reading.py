"""One reading: key, plant unit, meaning, and the function of the results that works it out in SI."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from pyrobal.arrays import FloatN, IntN
from pyrobal.flowsheet.results import Results

ROUND_OFF: Final = 1e-12  # of a whole; a part of less is no member of a family


@dataclass(frozen=True)
class Reading:
    """One quantity the engine works out.

    unit : plant unit shown to people; a function of the results where it depends on the case
    compute : results (and the member, for a family) -> (N,) SI
    members : results -> names that stand in for <X>; None for a single reading
    needs : steps of the plant it takes, attributes of Results with + between them; the first of them is the
        one it is read off, and has no answer where that has none
    why : results and the member -> (N,) reason, where it is read off another reading
    """

    key: str
    unit: str | Callable[[Results], str]
    meaning: str
    compute: Callable[..., FloatN]
    members: Callable[[Results], Sequence[str]] | None = None
    needs: str = "feed"
    why: Callable[[Results, str], IntN] | None = None

    @property
    def unit_text(self) -> str:
        """The unit where it is always the same, else the choice."""
        return self.unit if isinstance(self.unit, str) else "Nm3/h or t/h"

    def unit_for(self, results: Results) -> str:
        """The plant unit in this case."""
        return self.unit if isinstance(self.unit, str) else self.unit(results)

    def present(self, results: Results) -> bool:
        """True where the case has the step this reading belongs to."""
        return all(getattr(results, step) is not None for step in self.needs.split("+"))

    def reason(self, results: Results, member: str = "") -> IntN:
        """(N,) why it has no value: SOLVED where its step, and all that step lives on, has an answer."""
        if self.why is not None:
            return self.why(results, member)
        return results.unsolved.reasons[self.needs.partition("+")[0]]

    def keys(self, results: Results) -> list[str]:
        """The keys this reading stands for in a case."""
        if not self.present(results):
            return []
        if self.members is None:
            return [self.key]
        return [self.key.replace("<X>", member) for member in self.members(results)]

    def member(self, key: str) -> str | None:
        """What stands for <X> in ``key``; None where the key is not of this reading."""
        if self.members is None:
            return "" if key == self.key else None
        head, tail = self.key.split("<X>")
        if key.startswith(head) and key.endswith(tail) and len(key) > len(head) + len(tail):
            return key[len(head) : len(key) - len(tail)]
        return None
