"""What a study found, for a notebook: frames, plotly figures, the page and the workbook."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

from pyrobal.case.load import Case
from pyrobal.files import put
from pyrobal.report.figures.drawing import drawing
from pyrobal.report.glance import frame, glance, lines
from pyrobal.studies.table import StudyTable

if TYPE_CHECKING:
    import pandas
    import plotly.graph_objects

    from pyrobal.arrays import FloatN
    from pyrobal.report.figures.figure import Figure
    from pyrobal.report.study import Section
    from pyrobal.report.tables import Table

F = TypeVar("F")


@dataclass(frozen=True, eq=False, repr=False)
class Study(Generic[F]):
    """A study of a case.

    case : what was studied; found : the numbers, in the type of the study
    kind : the word of its command
    """

    case: Case
    found: F
    kind: str
    _sections: Callable[[], Iterable[Section]] = field(repr=False)
    _page: Callable[[], str] = field(repr=False)

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """What its page shows: headings with sentences, figures and tables."""
        return tuple(self._sections())

    @cached_property
    def tables(self) -> dict[str, Table]:
        """Its tables by title, the one asked for first."""
        return {table.title: table for section in self.sections for table in section.tables}

    @cached_property
    def figures(self) -> dict[str, Figure]:
        """Its figures by name."""
        return {figure.name: figure for section in self.sections for figure in section.figures}

    def frame(self, table: str = "") -> pandas.DataFrame:
        """A table as pandas has it, the first unless its title is given; units stand in the headings.

        Raises KeyError with the titles there are.
        """
        if table and table not in self.tables:
            raise KeyError(f"no table {table!r}; there is {', '.join(self.tables)}")
        return frame(self.tables[table or next(iter(self.tables))])

    def figure(self, name: str = "", choice: str = "") -> plotly.graph_objects.Figure:
        """A figure as a plotly object, the first unless its name is given; ``choice``: one of its views.

        Raises KeyError with the names there are.
        """
        return drawing(self.figures, name, choice)

    def to_html(self, path: str | Path) -> Path:
        """Write the page of ``--html``, one file that opens offline."""
        put(path, lambda place: place.write_text(self._page(), encoding="utf-8"))
        return Path(path)

    def to_xlsx(self, path: str | Path) -> Path:
        """Write a workbook, a sheet for each table."""
        from pyrobal.report.spreadsheet import write_tables

        said = [text for section in self.sections for text in section.sentences]
        put(path, lambda place: write_tables(said, self.tables, place))
        return Path(path)

    def __repr__(self) -> str:
        said = next((text for section in self.sections for text in section.sentences), "")
        tables, figures = ", ".join(self.tables), ", ".join(self.figures) or "none"
        return lines(f"{self.kind}: {self.case.title}", said, f"tables: {tables}", f"figures: {figures}")

    def _repr_html_(self) -> str:
        return glance(f"{self.kind}: {self.case.title}", next(iter(self.tables.values())))

    def __str__(self) -> str:
        return repr(self)


@dataclass(frozen=True, eq=False, repr=False)
class Trace(Study[tuple[str, ...]]):
    """How one reading is derived; printed, it is the text of ``pyrobal explain``."""

    def __str__(self) -> str:
        return "\n".join(self.found)


@dataclass(frozen=True, eq=False, repr=False)
class Scenarios(Study[StudyTable]):
    """The scenarios of a sweep: ``len`` of them, ``study["KEY"]`` one column (N,) in its plant unit."""

    def __len__(self) -> int:
        return len(self.found)

    def __getitem__(self, key: str) -> FloatN:
        """One setting or reading. Raises KeyError with those there are."""
        return self.found[key]

    def frame(self, table: str = "") -> pandas.DataFrame:
        """A row for each scenario; a column for each setting and reading with its unit, and the reasons."""
        return super().frame(table) if table else self.found.frame()
