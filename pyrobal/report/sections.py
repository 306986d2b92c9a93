"""The parts of a report by the word that asks for each: steps of the plant, then the whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from pyrobal.report.permit import permit
from pyrobal.report.result import Line, Result
from pyrobal.report.tables import Table, assumptions, messages, section, solution, step_tables

OWN: Final[dict[str, Callable[[Result], Table]]] = {
    "permit": permit, "solution": solution, "messages": messages, "assumptions": assumptions,
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Sections(Mapping[str, tuple[Table, ...]]):
    """Every table of a single case by the word that asks for it, in plant order; made when asked for."""

    result: Result

    @cached_property
    def _lines(self) -> dict[str, list[Line]]:
        parts: dict[str, list[Line]] = {}
        for line in self.result.told:
            parts.setdefault(section(line.key), []).append(line)
        return parts

    def __getitem__(self, word: str) -> tuple[Table, ...]:
        own = OWN.get(word)
        return (own(self.result),) if own else tuple(step_tables(word, self._lines[word]))

    def __iter__(self) -> Iterator[str]:
        own = (word for word in OWN if word != "permit" or self.result.results.emissions is not None)
        return iter((*self._lines, *own))

    def __len__(self) -> int:
        return len(list(iter(self)))
