"""The door on the way out: a solved case, its readings as quantities in plant units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pyrobal import units
from pyrobal.case.load import Case
from pyrobal.errors import NotSolved, Reason
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry
from pyrobal.readings.messages import Message, messages

if TYPE_CHECKING:
    import pandas as pd
    import pint


@dataclass(frozen=True, eq=False)
class Result(Mapping[str, "pint.Quantity[Any]"]):
    """The balance of one case, by reading: ``result["smelting.matte.rate"]`` is a pint quantity.

    Indexing raises KeyError with the nearest key where the case has no such reading.
    """

    case: Case
    results: Results

    def __getitem__(self, key: str) -> pint.Quantity[Any]:
        si = float(registry.evaluate(self.results, key)[0])
        unit = self.unit(key)
        return units.quantity(units.display(si, unit), unit)

    def __iter__(self) -> Iterator[str]:
        return iter(registry.keys(self.results))

    def __len__(self) -> int:
        return len(registry.keys(self.results))

    def unit(self, key: str) -> str:
        """The plant unit of a reading."""
        return registry.find(key)[0].unit_for(self.results)

    @property
    def messages(self) -> list[Message]:
        """What a careful engineer would say about it, the gravest first."""
        return messages(self.results)

    @property
    def status(self) -> str:
        """ "caution" where something should be looked at, else "ok"."""
        return "caution" if any(m.level == "caution" for m in self.messages) else "ok"

    def frame(self) -> pd.DataFrame:
        """Every reading as a row: key, value, unit, meaning."""
        import pandas as pd

        rows = [(key, self[key].magnitude, self.unit(key), registry.find(key)[0].meaning) for key in self]
        return pd.DataFrame(rows, columns=["key", "value", "unit", "meaning"])


def balance(case: Case) -> Result:
    """Work out the balance of one case.

    Raises NotSolved with the limit that stands in the way where there is no answer.
    """
    results = solve(case.inputs)
    reason = Reason(int(results.reason[0]))
    if reason is not Reason.SOLVED:
        raise NotSolved(reason)
    return Result(case, results)
