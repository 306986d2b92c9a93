"""A solved case as people use it: readings by key with their units, what to worry about, what was assumed."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.load import Case
from pyrobal.errors import Reason
from pyrobal.files import put
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry
from pyrobal.readings.message import Message
from pyrobal.readings.messages import messages
from pyrobal.readings.reading import Reading

if TYPE_CHECKING:
    import pandas
    import pint
    import plotly.graph_objects

    from pyrobal.report.figures.figure import Figure
    from pyrobal.report.flows import Flow

OK, CAUTION, INFEASIBLE = "ok", "caution", "infeasible"
_PRECIOUS: Final = ("Au", "Ag")
_PER_TONNE: Final = 1e4  # g/t in one wt%
CLOSED: Final = 1e-9  # relative; what the balance closes to, and below which digits are round-off
_LEVELS: Final = ("limit", "caution", "note", "safety")  # the gravest first


@dataclass(frozen=True)
class Line:
    """One reading of one scenario in its plant unit; ``value`` is nan where there is none, for ``reason``.

    noise : round-off a value of this unit may carry
    """

    key: str
    value: float
    unit: str
    meaning: str
    reason: str = ""
    noise: float = 0.0

    @property
    def shown(self) -> float:
        """The value for people: what is nothing but round-off is zero."""
        return 0.0 if abs(self.value) < self.noise else self.value

    @property
    def told(self) -> Line:
        """The same as the trade says it: gold and silver of an assay in g/t."""
        unit, factor = told_in(self.key, self.unit)
        if factor == 1.0:
            return self
        return dataclasses.replace(self, value=self.value * factor, unit=unit, noise=self.noise * factor)


def told_in(key: str, unit: str) -> tuple[str, float]:
    """The unit in which the trade says a reading, and how many of it make one of ``unit``."""
    precious = unit == "wt%" and key.rpartition(".")[2] in _PRECIOUS
    return ("g/t", _PER_TONNE) if precious else (unit, 1.0)


@dataclass(frozen=True, eq=False, repr=False)
class Result(Mapping[str, "pint.Quantity[Any]"]):
    """What came out of one case, by reading: ``result["smelting.matte.rate"]`` is a pint quantity.

    case : the inputs, and what had to be assumed
    results : every step in SI, (N,) each; a case file is one scenario, N = 1
    noise : unit -> round-off, where it is known from a case like this one
    """

    case: Case
    results: Results
    noise: Mapping[str, float] | None = None

    def __getitem__(self, key: str) -> pint.Quantity[Any]:
        """One reading in its plant unit: a number for one scenario, else an array (N,).

        Raises KeyError, with the nearest known key, for a reading this case does not have.
        """
        unit = self.unit(key)
        values = units.display(registry.evaluate(self.results, key), unit)
        return units.quantity(values if len(values) > 1 else float(values[0]), unit)

    def __iter__(self) -> Iterator[str]:
        """Every reading this case has, in the order a person reads a balance."""
        return iter(registry.keys(self.results))

    def __len__(self) -> int:
        return len(registry.keys(self.results))

    def __contains__(self, key: object) -> bool:
        return key in self._keys

    @cached_property
    def _keys(self) -> frozenset[str]:
        return frozenset(registry.keys(self.results))

    def unit(self, key: str) -> str:
        """The plant unit of a reading. Raises KeyError for an unknown one."""
        return registry.find(key)[0].unit_for(self.results)

    def scenario(self, i: int) -> Result:
        """One scenario on its own, solved again; its report is that of a single case."""
        n = self.results.scenarios
        if not -n <= i < n:
            raise IndexError(f"scenario {i} of {n}")
        part = self.case.inputs.take(slice(i % n, i % n + 1))
        return balance(dataclasses.replace(self.case, inputs=part))

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """Every reading of a single case.

        Raises ValueError where there are several scenarios.
        """
        if self.results.scenarios != 1:
            raise ValueError(f"a report is of one scenario, not of {self.results.scenarios}; use scenario(i)")
        found = [self._valued(*one) for one in registry.evaluate_all(self.results)]
        noise = _noise((unit, value) for _, _, unit, value in found)
        return tuple(self._line(*one, noise) for one in found)

    @property
    def round_off(self) -> Mapping[str, float]:
        """Unit -> what a reading of it may carry."""
        return {line.unit: line.noise for line in self.lines} if self.noise is None else self.noise

    @property
    def by_key(self) -> Mapping[str, Line]:
        """The same by key; where ``noise`` is known each is worked out when it is asked for."""
        return self._by_key if self.noise is None else _Lines(self, self.noise, self._asked)

    @cached_property
    def _by_key(self) -> dict[str, Line]:
        return {line.key: line for line in self.lines}

    @cached_property
    def _asked(self) -> dict[str, Line]:
        """What ``by_key`` has worked out."""
        return {}

    @cached_property
    def flows(self) -> list[Flow]:
        """What goes from step to step."""
        from pyrobal.report.flows import element_flows

        return element_flows(self.results)

    @cached_property
    def told(self) -> tuple[Line, ...]:
        """The readings for people: see ``Line.told``."""
        return tuple(line.told for line in self.lines)

    def _valued(self, reading: Reading, key: str, si: FloatN) -> tuple[Reading, str, str, float]:
        unit = reading.unit_for(self.results)
        value = units.display(float(si[0]), unit)
        return reading, key, unit, value + 0.0 if math.isfinite(value) else math.nan  # + 0.0: no minus zero

    def _line(self, reading: Reading, key: str, unit: str, value: float, noise: Mapping[str, float]) -> Line:
        reason = self._why_none(reading, key) if math.isnan(value) else ""
        return Line(key, value, unit, reading.meaning, reason, noise.get(unit, 0.0))

    def one(self, key: str, noise: Mapping[str, float]) -> Line:
        """One reading of a single case. Raises KeyError for one it does not have."""
        si = registry.evaluate(self.results, key)
        return self._line(*self._valued(registry.find(key)[0], key, si), noise)

    def _why_none(self, reading: Reading, key: str) -> str:
        reason = Reason(int(reading.reason(self.results, reading.member(key) or "")[0]))
        if reason is not Reason.SOLVED:
            return reason.text
        said = [m.text for m in self.messages if m.key == key]
        return said[0] if said else "is not defined where the amounts it compares are zero"

    @cached_property
    def messages(self) -> tuple[Message, ...]:
        """Everything worth saying, each once, the gravest first; settings without effect are cautions."""
        said = [Message(CAUTION, fault.key, fault.text) for fault in self.case.cautions]
        for i in range(self.results.scenarios):
            said += messages(self.results, i)
        return tuple(sorted(dict.fromkeys(said), key=lambda m: _LEVELS.index(m.level)))

    @property
    def status(self) -> str:
        """ "infeasible" where a scenario has no answer, "caution" where something needs a look, else "ok"."""
        if not self.results.solved.all():
            return INFEASIBLE
        return CAUTION if any(m.level == CAUTION for m in self.messages) else OK

    @property
    def assumed(self) -> Mapping[str, str]:
        """Every setting the case did not give, by key, with the value that was taken."""
        return self.case.assumed

    def frame(self) -> pandas.DataFrame:
        """The readings as a table: key, value, unit, meaning; ``value.<i>`` of several scenarios."""
        import pandas

        rows = []
        for reading, key, si in registry.evaluate_all(self.results):
            unit = reading.unit_for(self.results)
            rows.append((key, *units.display(si, unit), unit, reading.meaning))
        n = self.results.scenarios
        value = ["value"] if n == 1 else [f"value.{i}" for i in range(n)]
        return pandas.DataFrame(rows, columns=["key", *value, "unit", "meaning"])

    def figure(self, name: str = "", choice: str = "") -> plotly.graph_objects.Figure:
        """A figure of a single case as a plotly object, the first unless its name is given; ``choice``: one
        of its views.

        Raises KeyError with the names there are.
        """
        from pyrobal.report.figures.drawing import drawing

        return drawing(self.figures, name, choice)

    @cached_property
    def figures(self) -> dict[str, Figure]:
        """The figures of a single case by name; none where it has no solution."""
        from pyrobal.report.figures import figures

        return {figure.name: figure for figure in figures(self)}

    def to_html(self, path: str | Path) -> Path:
        """Write the report of a single case, one file that opens offline."""
        from pyrobal.report.html import as_html

        put(path, lambda place: place.write_text(as_html(self), encoding="utf-8"))
        return Path(path)

    def to_xlsx(self, path: str | Path) -> Path:
        """Write the workbook of a single case, which can be read back as a case."""
        from pyrobal.report.spreadsheet import write_workbook

        put(path, lambda place: write_workbook(self, place))
        return Path(path)

    def __repr__(self) -> str:
        n = self.results.scenarios
        if n > 1:
            solved = int(self.results.solved.sum())
            return f"{self.case.title}: {n} scenarios, {solved} of them solved; scenario(i), frame()"
        from pyrobal.report.glance import lines
        from pyrobal.report.verdict import verdict

        head, figures = f"balance: {self.case.title}: {self.status}", ", ".join(self.figures) or "none"
        count = f'{len(self)} readings, as result["{next(iter(self))}"]'
        return lines(head, verdict(self), count, f"figures: {figures}")

    def _repr_html_(self) -> str:
        if self.results.scenarios > 1:
            return repr(self)
        from pyrobal.report.glance import glance
        from pyrobal.report.picture import picture
        from pyrobal.report.tables import Column, Table
        from pyrobal.report.verdict import first_figures

        columns = (Column("reading"), Column("value"), Column("unit"))
        rows = tuple((label, line.shown, line.unit) for label, line in first_figures(self))
        short = glance(f"{self.case.title}: {self.status}", Table("First figures", columns, rows))
        return f"{short}{picture(self)}"


class _Lines(Mapping[str, Line]):
    """Lines of a result by key, each worked out once, when it is asked for."""

    def __init__(self, result: Result, noise: Mapping[str, float], known: dict[str, Line]) -> None:
        self._result, self._noise, self._known = result, noise, known

    def __getitem__(self, key: str) -> Line:
        if not registry.known(key):
            raise KeyError(key)
        if key not in self._known:
            self._known[key] = self._result.one(key, self._noise)
        return self._known[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._result)

    def __len__(self) -> int:
        return len(self._result)


def _noise(values: Iterable[tuple[str, float]]) -> dict[str, float]:
    """Unit -> round-off: readings of one unit are sums and differences on the scale of the largest of them.

    A number without a unit has no such scale: a closure of 1e-15 is news.
    """
    largest: dict[str, float] = {}
    for unit, value in values:
        if unit != "-" and not math.isnan(value):
            largest[unit] = max(largest.get(unit, 0.0), abs(value))
    return {unit: CLOSED * most for unit, most in largest.items()}


def balance(case: Case) -> Result:
    """Work out the balance of a case.

    An infeasible case is no error: its ``status`` says so, its readings are nan, its messages name the limit.
    """
    return Result(case, solve(case.inputs))
