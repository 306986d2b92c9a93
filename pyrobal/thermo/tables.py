"""Substances: read from ``thermo_data/``, checked, and joined into curves over temperature.

A substance is a chain of segments, one row each. The first row states H298, S298 and who it is; every
segment carries the heat capacity over its range,

    Cp = a + b T + c / T^2 + d T^2,

and all but the last the heat of the transition at its upper end. Integrating from 298.15 K upwards and
adding each transition's heat and entropy (dH / T) gives the enthalpy and the entropy of the substance.
Reference of H: the elements, as they are stable, at 298.15 K and 1 bar. Reference of S: the third law.

A melt or a dissolved substance need not repeat numbers: a row with ``curve_of`` takes over the liquid (form
"liquid") or the crystals (form "solid") of another substance, anchors included, and only states how far the
curve may be followed. So Cu2S(l) below its melting point and the fusion of Cu2S cannot disagree.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from pyrobal import constants
from pyrobal.errors import DataError
from pyrobal.names import suggestion
from pyrobal.thermo.curve import Curve
from pyrobal.thermo.elements import composition
from pyrobal.thermo.files import Row, data_root, read_rows, read_sources

__all__ = ["Segment", "Substance", "data_root", "find", "load_sources", "load_substances", "read_substances"]

COLUMNS = (
    "name", "formula", "phase", "title", "standard_state", "curve_of", "form", "T_low", "T_high", "H298",
    "S298", "a", "b", "c", "d", "dH_transition", "H298_uncertainty", "source", "seen", "note",
)  # fmt: skip
PHASES = ("solid", "liquid", "gas", "slag")
SEEN = ("seen", "memory", "estimate")  # from most to least certain
_LIQUID = "liquid"
T_STANDARD = float(constants.T_STANDARD)  # the tables hold plain numbers of SI


@dataclass(frozen=True)
class Segment:
    """One form of a substance between two temperatures.

    T_low, T_high [K]; curve: Cp, H and S; dH_transition [J/mol] at T_high, None where the chain ends;
    source: keys of the bibliography.
    """

    form: str
    T_low: float
    T_high: float
    curve: Curve
    dH_transition: float | None
    source: tuple[str, ...]
    seen: str


@dataclass(frozen=True)
class Substance:
    """A chain of segments with its identity.

    H298 [J/mol] and S298 [J/(mol K)] are values of the curve at 298.15 K: for a melt, of the hypothetical
    melt at 25 degC. ``standard_state`` names the substance whose H298 is the zero of sensible heat.
    uncertainty [J/mol] of H298; seen: the least certain of "seen", "memory", "estimate" in its rows.
    """

    name: str
    formula: str
    phase: str
    title: str
    standard_state: str
    segments: tuple[Segment, ...]
    H298: float
    S298: float
    uncertainty: float
    source: tuple[str, ...]
    seen: str
    note: str

    @property
    def T_low(self) -> float:
        return self.segments[0].T_low

    @property
    def T_high(self) -> float:
        return self.segments[-1].T_high

    def segment_at(self, T: float) -> Segment:
        """The segment that holds at T [K]; the end segments hold beyond the ends too."""
        for segment in self.segments[:-1]:
            if segment.T_high >= T:
                return segment
        return self.segments[-1]


@lru_cache(maxsize=1)
def load_substances() -> dict[str, Substance]:
    """Every substance of the tables, by name. Raises DataError where a table is inconsistent."""
    return read_substances(data_root())


@lru_cache(maxsize=1)
def load_sources() -> dict[str, str]:
    """Citation of every source of the tables, by key."""
    return read_sources(data_root() / "sources.bib")


def find(name: str) -> Substance:
    """The substance of that name. Raises DataError with the nearest name where there is none."""
    substances = load_substances()
    if name not in substances:
        near = suggestion(name, substances, otherwise="pyrobal substance lists them")
        raise DataError(f"no substance {name!r} in the tables; {near}")
    return substances[name]


def read_substances(root: Path) -> dict[str, Substance]:
    """Read and check every table of substances below ``root/substances``.

    Raises DataError, with file and line, for the first thing wrong: an unknown source or word, a formula
    that is unbalanced or not that of the name, a gap or overlap between ranges, a missing transition heat,
    a heat capacity that is not positive, a curve or standard state that does not exist.
    """
    sources = read_sources(root / "sources.bib")
    groups: dict[str, list[Row]] = {}
    for path in sorted((root / "substances").glob("*.csv")):
        previous = ""
        for row in read_rows(path, COLUMNS):
            name = row.text("name")
            if name in groups and name != previous:
                raise DataError(f"{row.place}: {name} is already in the tables; its rows must stand together")
            groups.setdefault(name, []).append(row)
            previous = name
    own = {name: _chain(rows, sources) for name, rows in groups.items() if not rows[0].text("curve_of")}
    taken = {name: _taken(rows, own, sources) for name, rows in groups.items() if rows[0].text("curve_of")}
    substances = {name: (own | taken)[name] for name in groups}
    for name, substance in substances.items():
        _check_identity(substance, substances, groups[name][0].place)
    return substances


def _chain(rows: Sequence[Row], sources: dict[str, str]) -> Substance:
    """Join the rows of one substance, integrating Cp from 298.15 K upwards."""
    first = rows[0]
    H, S = _required(first, "H298") * 1e3, _required(first, "S298")
    segments: list[Segment] = []
    T_join = T_STANDARD
    for number, row in enumerate(rows):
        segment = _segment(row, sources, default=segments[-1] if segments else None)
        if number:
            _check_join(segments[-1], segment, row)
            below, T_join = segments[-1], segment.T_low
            heat = _required(rows[number - 1], "dH_transition") * 1e3
            H, S = below.curve.enthalpy(T_join) + heat, below.curve.entropy(T_join) + heat / T_join
        segments.append(dataclasses.replace(segment, curve=segment.curve.anchored(T_join, H, S)))
    if segments[-1].dH_transition is not None:
        raise DataError(f"{rows[-1].place}: {first.text('name')}: a transition heat, but no row above it")
    return _substance(first, segments, _required(first, "H298") * 1e3, _required(first, "S298"))


def _segment(row: Row, sources: dict[str, str], default: Segment | None) -> Segment:
    """One row; a blank source or seen is that of the row before. Its curve has no anchor yet."""
    T_low, T_high = _required(row, "T_low"), _required(row, "T_high")
    if not T_low < T_high:
        raise DataError(f"{row.place}: T_low {T_low:g} K is not below T_high {T_high:g} K")
    a, b, c, d = (_required(row, letter) for letter in "abcd")
    curve = Curve(a, b * 1e-3, c * 1e5, d * 1e-6)
    steps = 40
    if any(curve.heat_capacity(T_low + (T_high - T_low) * step / steps) <= 0.0 for step in range(steps + 1)):
        raise DataError(f"{row.place}: the heat capacity is not positive over the whole range")
    heat = row.number("dH_transition")
    if heat is not None and heat < 0.0:
        raise DataError(f"{row.place}: a transition on heating cannot give off heat")
    source, seen = _source(row, sources, default)
    return Segment(row.text("form"), T_low, T_high, curve, None if heat is None else heat * 1e3, source, seen)


def _source(row: Row, sources: dict[str, str], default: Segment | None) -> tuple[tuple[str, ...], str]:
    keys = tuple(key.strip() for key in row.text("source").split(";") if key.strip())
    unknown = [key for key in keys if key not in sources]
    if unknown:
        raise DataError(f"{row.place}: unknown source {', '.join(unknown)}; add it to sources.bib")
    seen = row.text("seen")
    if default is not None and not keys and not seen:
        return default.source, default.seen
    if not keys or seen not in SEEN:
        raise DataError(f"{row.place}: a source and one of {', '.join(SEEN)} are needed")
    return keys, seen


def _check_join(below: Segment, segment: Segment, row: Row) -> None:
    if segment.T_low != below.T_high:
        what = "gap" if segment.T_low > below.T_high else "overlap"
        raise DataError(f"{row.place}: {what} between {below.T_high:g} K and {segment.T_low:g} K")


def _taken(rows: Sequence[Row], own: dict[str, Substance], sources: dict[str, str]) -> Substance:
    """A substance that follows the liquid or the crystals of another one over its own range."""
    row = rows[0]
    parent = own.get(row.text("curve_of"))
    if parent is None:
        raise DataError(f"{row.place}: no substance {row.text('curve_of')!r} with a curve of its own")
    stated = [column for column in ("H298", "S298", *"abcd", "dH_transition") if row.text(column)]
    if len(rows) > 1 or stated:
        what = ", ".join(stated) or "second row"
        raise DataError(f"{row.place}: the curve is that of {parent.name}; state no {what}")
    liquid = row.text("form") == _LIQUID
    segments = [segment for segment in parent.segments if (segment.form == _LIQUID) == liquid]
    if not segments or row.text("form") not in (_LIQUID, "solid"):
        raise DataError(f"{row.place}: {parent.name} has no form {row.text('form')!r}")
    T_low, T_high = _required(row, "T_low"), _required(row, "T_high")
    if not (T_low < segments[0].T_high and segments[-1].T_low < T_high):
        raise DataError(f"{row.place}: {T_low:g} to {T_high:g} K leaves out a form of {parent.name}")
    segments[0] = dataclasses.replace(segments[0], T_low=T_low)
    segments[-1] = dataclasses.replace(segments[-1], T_high=T_high, dH_transition=None)
    if row.text("source"):
        segments = [_less_certain(segment, *_source(row, sources, None)) for segment in segments]
    below = segments[0].curve
    return _substance(row, segments, below.enthalpy(T_STANDARD), below.entropy(T_STANDARD))


def _less_certain(segment: Segment, source: tuple[str, ...], seen: str) -> Segment:
    """The segment used as an approximation: the reason for it joins the sources."""
    certainty = max(segment.seen, seen, key=SEEN.index)
    return dataclasses.replace(segment, source=(*segment.source, *source), seen=certainty)


def _substance(row: Row, segments: Sequence[Segment], H298: float, S298: float) -> Substance:
    uncertainty = row.number("H298_uncertainty")
    return Substance(
        name=row.text("name"),
        formula=row.text("formula"),
        phase=row.text("phase"),
        title=row.text("title"),
        standard_state=row.text("standard_state"),
        segments=tuple(segments),
        H298=float(H298),
        S298=float(S298),
        uncertainty=math.nan if uncertainty is None else uncertainty * 1e3,
        source=tuple(dict.fromkeys(key for segment in segments for key in segment.source)),
        seen=max((segment.seen for segment in segments), key=SEEN.index),
        note=row.text("note"),
    )


def _check_identity(substance: Substance, substances: dict[str, Substance], place: str) -> None:
    """The formula is that of the name, the words are known, the standard state is the same compound."""
    if substance.phase not in PHASES:
        raise DataError(f"{place}: phase {substance.phase!r}; one of {', '.join(PHASES)}")
    try:
        atoms, named = composition(substance.formula), composition(bare_formula(substance.name))
    except DataError as error:
        raise DataError(f"{place}: {error}") from None
    if atoms != named:
        raise DataError(f"{place}: formula {substance.formula!r} is not that of the name {substance.name!r}")
    standard = substances.get(substance.standard_state)
    if standard is None or composition(standard.formula) != atoms:
        raise DataError(f"{place}: standard state {substance.standard_state!r} is not this compound")


def bare_formula(name: str) -> str:
    """The name without the word for its phase or form: "FeO(slag)" is FeO, "Al2Si2O5(OH)4" is itself."""
    head, bracket, word = name.rpartition("(")
    return head if bracket and head and word.endswith(")") and word[:-1].islower() else name


def _required(row: Row, column: str) -> float:
    value = row.number(column)
    if value is None:
        raise DataError(f"{row.place}: {column} is blank")
    return value
