"""A table of scenarios: settings, readings and reasons, in plant units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN
from pyrobal.errors import Reason

if TYPE_CHECKING:
    import pandas

UNDEFINED: Final = "undefined"  # solved, yet a reading is not defined there


@dataclass(frozen=True)
class Column:
    """A setting or a reading, and its plant unit; of a setting that is a word, those it takes.

    varied : whether the study sets it
    """

    key: str
    unit: str
    words: tuple[str, ...] = ()
    varied: bool = False

    @property
    def heading(self) -> str:
        """``smelting.enrichment [vol%]``; a ratio or a word stands alone."""
        return self.key if self.unit in ("", "-") else f"{self.key} [{self.unit}]"


@dataclass(frozen=True, eq=False)
class StudyTable:
    """One row per scenario.

    columns : settings, then readings
    values : (N, C) in the plant units of the columns, the number of a word among its own; nan where there
        is none
    reason : (N,) errors.Reason
    """

    columns: tuple[Column, ...]
    values: Floats
    reason: IntN

    def __len__(self) -> int:
        return len(self.reason)

    def __getitem__(self, key: str) -> FloatN:
        """The values of one setting or reading, (N,) in its plant unit."""
        keys = [column.key for column in self.columns]
        if key not in keys:
            raise KeyError(f"{key} is not in this table; there is {', '.join(keys)}")
        return self.values[:, keys.index(key)]

    def cells(self) -> list[list[str] | FloatN]:
        """Column by column what a person reads: (N,) numbers, or words."""
        pairs = zip(self.columns, self.values.T, strict=True)
        return [[c.words[int(i)] for i in x.tolist()] if c.words else x for c, x in pairs]

    @property
    def solved(self) -> int:
        """How many scenarios have an answer."""
        return int((self.reason == Reason.SOLVED).sum())

    def reasons(self) -> list[str]:
        """Why a row lacks a value, "" where it lacks none: the name of the reason, or "undefined"."""
        names = {int(reason): reason.name.lower() for reason in Reason} | {int(Reason.SOLVED): ""}
        undefined = np.isnan(self.values).any(axis=1) & (self.reason == Reason.SOLVED)
        pairs = zip(self.reason.tolist(), undefined.tolist(), strict=True)
        return [UNDEFINED if open_ else names[code] for code, open_ in pairs]

    def failures(self) -> dict[Reason, int]:
        """Reason -> how many scenarios it stopped, the most frequent first."""
        codes, counts = np.unique(self.reason[self.reason != Reason.SOLVED], return_counts=True)
        order = np.argsort(-counts, kind="stable")
        return {Reason(int(codes[i])): int(counts[i]) for i in order}

    def frame(self) -> pandas.DataFrame:
        """As a pandas table: a column per setting and reading with its unit, and the reasons."""
        import pandas

        columns = zip(self.columns, self.cells(), strict=True)
        frame = pandas.DataFrame({column.heading: cells for column, cells in columns})
        frame["reason"] = pandas.Categorical(self.reasons())
        return frame


def joined(parts: Sequence[StudyTable]) -> StudyTable:
    """Tables below each other."""
    return StudyTable(
        parts[0].columns,
        np.concatenate([part.values for part in parts]),
        np.concatenate([part.reason for part in parts]),
    )
