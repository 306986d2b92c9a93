"""The answer first: what to blow, what comes out, whether the heat closes, what the acid plant sees.

The one place where readings are picked by name. A reading the case does not have leaves its place empty,
so rows of later steps of the plant appear by themselves.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from pyrobal import units
from pyrobal.readings.limits import limits
from pyrobal.report.numbers import DIGITS, quantity
from pyrobal.report.result import CLOSED, Line, Result
from pyrobal.report.tables import plain, words


@dataclass(frozen=True)
class Part:
    """One reading within a row, and the word around it: "Fe/SiO2 1.25", "62 vol% O2".

    said : whether the number itself is given beside the words
    """

    line: Line
    before: str = ""
    after: str = ""
    said: bool = True

    def text(self, digits: int = DIGITS) -> str:
        """The whole of it."""
        if self.line.key.endswith(".closure") and abs(self.line.value) < CLOSED:
            return "closed to 1e-9"
        value = quantity(self.line.shown, self.line.unit, digits) if self.said else ""
        return " ".join(word for word in (self.before, value, self.after) if word)


@dataclass(frozen=True)
class Row:
    """A label, its main reading, and remarks to it."""

    label: str
    main: Part
    remarks: tuple[Part, ...]


@dataclass(frozen=True)
class Group:
    """Rows under one word."""

    heading: str
    rows: tuple[Row, ...]


LIMITS: Final = "Limits"  # heading of the last group
_SHORT: Final = {"surplus": "deficit"}  # what a row is called whose number is below zero
# heading -> rows of: label, main reading, remarks as (reading, word before, after); <largest>: of a family
_Remark = tuple[str, str, str]
_LAYOUT: Final[dict[str, tuple[tuple[str, str, tuple[_Remark, ...]], ...]]] = {
    "Feed": (
        ("concentrate, dry", "feed.dry_rate", (
            ("feed.assay.Cu", "", "Cu"), ("feed.assay.Fe", "", "Fe"), ("feed.assay.S", "", "S"))),
        ("concentrate, wet", "feed.wet_rate", (("feed.water", "", "water"),)),
        ("silica flux", "smelting.flux.silica", ()),
        ("lime flux", "smelting.flux.lime", ()),
    ),
    "Blow": (
        ("oxygen for charge", "smelting.oxygen.demand", (("smelting.oxygen.per_tonne", "", ""),)),
        ("process gas, dry", "smelting.process_gas", (("smelting.enrichment", "", "O2"),)),
        ("industrial oxygen", "smelting.oxygen.industrial", ()),
        ("air", "smelting.air", ()),
        ("fuel", "smelting.fuel", (("smelting.fuel_heat", "", ""),)),
        ("converter air", "converting.air", (("converting.oxygen.industrial", "", "industrial oxygen"),)),
    ),
    "Products": (
        ("matte", "smelting.matte.rate", (
            ("smelting.matte.grade", "", "Cu"), ("smelting.matte.temperature", "", ""))),
        ("slag", "smelting.slag.rate", (
            ("smelting.slag.copper", "", "Cu"), ("smelting.slag.magnetite", "", "Fe3O4"),
            ("smelting.slag.fe_sio2", "Fe/SiO2", ""))),
        ("gas, wet", "smelting.gas.flow_wet", (
            ("smelting.gas.so2", "", "SO2"), ("smelting.gas.temperature", "", ""))),
        ("dust", "smelting.dust.rate", (("smelting.dust.returned", "", "recycled"),)),
        ("blister copper", "converting.blister.rate", (("converting.blister.assay.Cu", "", "Cu"),)),
        ("converter slag", "converting.slag.rate", (("converting.slag.assay.Cu", "", "Cu"),)),
        ("discard slag", "slag_cleaning.slag.rate", (("slag_cleaning.slag.assay.Cu", "", "Cu"),)),
        ("anodes", "anode.rate", ()),
    ),
    "Heat": (
        ("in, and out", "smelting.heat.total", (
            ("smelting.heat.out.loss", "", "lost"), ("balance.heat.closure", "closure", ""))),
        ("surplus", "smelting.heat.surplus", (
            ("smelting.heat.autogenous_enrichment", "autogenous at", "O2"),)),
    ),
    "Sulfur": (
        ("SO2 from smelting", "smelting.gas.so2_load", (
            ("smelting.gas.acid_equivalent", "", "as 100 % H2SO4"),)),
        ("at the acid plant", "acid.so2_load", (("acid.inlet_so2", "", "SO2"), ("acid.inlet_flow", "", ""))),
        ("acid made", "acid.production", (("acid.conversion", "", "converted"),)),
        ("SO2 emitted", "emissions.so2", (
            ("emissions.sulfur_capture", "", "of the sulfur captured"),
            ("emissions.so2_from.<largest>", "", "of it <largest>"),
            ("emissions.stack_so2", "", "in the first stack"))),
    ),
    "Copper": (("recovered", "recovery.Cu", ()),),
}  # fmt: skip


def summary(result: Result) -> tuple[Group, ...]:
    """The groups of a single case: all that has a value; empty where nothing has an answer."""
    lines = {line.key: line for line in result.lines if not math.isnan(line.value)}
    if not {"smelting.matte.rate", "acid.production"} & lines.keys():
        return ()
    groups = []
    for heading, layout in _LAYOUT.items():
        rows = [
            _row(label, lines[main], tuple(part for remark in remarks for part in _parts(lines, *remark)))
            for label, main, remarks in layout
            if main in lines and not _idle(lines[main])
        ]
        if rows:
            groups.append(Group(heading, tuple(rows)))
    judged = tuple(_limit_rows(result, lines))
    return (*groups, Group(LIMITS, judged)) if judged else tuple(groups)


def _limit_rows(result: Result, lines: Mapping[str, Line]) -> Iterator[Row]:
    """The use of each limit, the reading and its bound; no use where there is no share of a bound."""
    for name, limit in limits(result.case.inputs).items():
        if limit.reading in lines:
            line = lines[limit.reading]
            side = "at most" if limit.upper else "at least"
            shown = units.display(float(limit.bound[0]), line.unit)
            bound = f"({side} {quantity(shown, line.unit, DIGITS)}){_where(line, lines)}"
            label = words(plain(name.rpartition(".")[2]))
            use = lines.get(f"limit.{name}.use")
            if use is None:
                yield Row(label, Part(line), (Part(line, after=bound, said=False),))
            else:
                yield Row(label, Part(use), (Part(line, after=bound),))


def _where(line: Line, lines: Mapping[str, Line]) -> str:
    """Of the worst of all stacks, which of them it is."""
    head, mark, kind = line.key.partition("worst_stack_")
    for key, one in lines.items() if mark else ():
        if key.startswith(f"{head}stated.") and key.endswith(f".{kind}") and one.value == line.value:
            return f", {words(key.removeprefix(f'{head}stated.').removesuffix(f'.{kind}'))}"
    return ""


def _row(label: str, line: Line, remarks: tuple[Part, ...]) -> Row:
    if line.shown < 0.0 and label in _SHORT:
        return Row(_SHORT[label], Part(dataclasses.replace(line, value=-line.value)), remarks)
    return Row(label, Part(line), remarks)


def _parts(lines: Mapping[str, Line], key: str, before: str, after: str) -> Iterator[Part]:
    if key in lines:
        yield Part(lines[key], before, after)
    head, mark, _ = key.partition("<largest>")
    family = [line for k, line in lines.items() if mark and k.startswith(head)]
    if family:
        largest = max(family, key=lambda line: line.value)
        yield Part(largest, before, after.replace(mark, words(largest.key.removeprefix(head))))


def _idle(line: Line) -> bool:
    """A flux the case does not have is no news; no fuel is."""
    return ".flux." in line.key and line.value == 0.0
