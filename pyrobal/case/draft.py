"""Values of a document to settings in SI, every fault of spelling, type, unit and range noted on the way.

A value that cannot be read leaves a fault and stands as NaN in the draft: comparisons with NaN are false,
so no later check adds a second fault to it. A draft with faults is never solved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case import schema, upset_items, values
from pyrobal.case.document import Document
from pyrobal.case.lines import Path
from pyrobal.case.schema import FUEL_COMPONENTS, Shape
from pyrobal.errors import MOST_FAULTS, CaseError, Fault
from pyrobal.fields import (
    Assay,
    Bound,
    Choice,
    Declaration,
    Deviation,
    Precision,
    Quantity,
    ReadingKey,
    Table,
    Text,
)
from pyrobal.flowsheet.inputs import SECTIONS, Inputs
from pyrobal.flowsheet.limit import LimitSettings
from pyrobal.names import nearest, suggestion, unfit
from pyrobal.plant.emissions import UpsetSettings
from pyrobal.streams.fuel import GAS_COMPONENTS, ULTIMATE_COMPONENTS, FuelSettings
from pyrobal.thermo.elements import is_formula, symbols

_NAN: Final = np.array([np.nan])


@dataclass(frozen=True)
class Place:
    """A place in a case: its path in the document and its dotted key, in which items go by name."""

    path: Path
    key: str

    def __truediv__(self, name: str) -> Place:
        return Place((*self.path, name), f"{self.key}.{name}")


class Draft:
    """A document on its way to ``Inputs``.

    places : dotted key of everything written -> its path in the document
    faults : what is wrong so far
    halved : dotted key of an assay line below detection -> what it is taken as
    faulty : the keys it is wrong with, and those that a misspelt key was meant to be
    inputs : the settings, NaN where a value could not be read

    Raises CaseError once there are more faults than a person would read.
    """

    def __init__(self, document: Document) -> None:
        self.document = document
        self.places: dict[str, Path] = {}
        self.faults: list[Fault] = list(document.slips)
        self.faulty: set[str] = set()
        self.halved: dict[str, str] = {}
        self.inputs = _inputs(self)

    def given(self, key: str) -> bool:
        """Whether the key was written, readable or not."""
        return key in self.places

    def note(self, place: Place) -> None:
        """Remember where a key was written."""
        self.places.setdefault(place.key, place.path)

    def wrong(self, place: Place, text: str) -> None:
        """Note a fault."""
        self.faulty.add(place.key)
        self.faults.append(self.document.fault(place.path, place.key, text))
        if len(self.faults) > MOST_FAULTS:
            raise CaseError(self.faults)

    def incomplete(self, key: str) -> bool:
        """Whether an entry of the table ``key`` could not be read."""
        return any(faulty.startswith(f"{key}.") for faulty in self.faulty)

    def place(self, key: str) -> Place:
        """Where a key was written, else the nearest table around it."""
        around = key
        while around and around not in self.places:
            around = around.rpartition(".")[0]
        return Place(self.places.get(around, ()), key)


def _inputs(draft: Draft) -> Inputs:
    raw, known = draft.document.values, ("title", *SECTIONS)
    for name in raw:
        if name not in known:
            draft.wrong(Place((name,), name), f"unknown section or key; {_misplaced(name, known)}")
            draft.faulty.add(nearest(name, known) or name)
    sections = {name: _section(draft, name, raw[name]) for name in SECTIONS if name in raw}
    title = "untitled case"
    if "title" in raw:
        title = _attempt(draft, partial(values.line, raw["title"]), Place(("title",), "title"), "?")
    return Inputs(**{"title": title, "concentrate": (), **sections})


def _misplaced(name: str, known: Iterable[str]) -> str:
    homes = schema.homes(name)
    return f"it belongs in {' or '.join(homes)}" if homes else suggestion(name, known)


def _section(draft: Draft, name: str, raw: Any) -> Any:
    """One section in the shape that ``Inputs`` holds it."""
    place, settings, shape = Place((name,), name), SECTIONS[name], schema.shape(name)
    draft.note(place)
    wanted: Any = list if shape is Shape.ARRAY else dict
    if not isinstance(raw, wanted):
        draft.wrong(place, f"is {values.called(raw)}; it is written as {shape.header(name)}")
        return _blank(settings) if shape is Shape.TABLE else () if shape is Shape.ARRAY else {}
    if shape is Shape.ARRAY:
        return tuple(_array(draft, settings, raw, place))
    if shape is Shape.NAMED:
        return dict(_named(draft, settings, raw, place))
    return _settings(draft, settings, raw, place)


def _array(draft: Draft, settings: type, raw: list[Any], place: Place) -> Iterator[Any]:
    taken: set[str] = set()
    for i, item in enumerate(raw):
        name = item.get("name") if isinstance(item, dict) else None
        label = name if isinstance(name, str) and unfit(name) is None else f"#{i + 1}"
        here = Place((*place.path, i), f"{place.key}.{label}")
        if not isinstance(item, dict):
            draft.wrong(here, f"is {values.called(item)}; a table is needed")
            continue
        if label in taken:
            draft.wrong(here / "name", f'the name "{name}" is given twice; names tell {place.key}s apart')
        taken.add(label)
        read = _limit if settings is LimitSettings else partial(_settings, settings=settings)
        yield replace(read(draft, raw=item, place=here), name=label)


def _named(draft: Draft, settings: type, raw: dict[str, Any], place: Place) -> Iterator[tuple[str, Any]]:
    for name, item in raw.items():
        here = place / name
        if not isinstance(item, dict):
            draft.wrong(here, f"is {values.called(item)}; it is written as {Shape.NAMED.header(place.key)}")
        elif name not in (allowed := schema.ITEMS.get(place.key, (name,))):
            draft.wrong(here, f"unknown {place.key}; {suggestion(name, allowed)}")
        elif (why := unfit(name)) is not None:
            draft.wrong(Place(here.path, place.key), f"the name of this table {why}")
        elif settings is FuelSettings:
            yield name, _fuel(draft, item, here)
        elif settings is UpsetSettings:
            yield name, _upset(draft, item, here)
        else:
            yield name, _settings(draft, settings, item, here)


def _settings(draft: Draft, settings: type, raw: dict[str, Any], place: Place, **fixed: Any) -> Any:
    """The settings of one table; ``fixed`` are fields that are read already."""
    known, within, found = schema.written(settings), schema.nested(settings), dict(fixed)
    draft.note(place)
    for name in raw:
        if name not in (*known, *within) and not (settings is FuelSettings and name in fixed["composition"]):
            said = _no_component if settings is FuelSettings else _unknown
            draft.wrong(place / name, f"unknown key; {said(name, (*known, *within))}")
            draft.faulty.add((place / (nearest(name, known) or name)).key)
    for name, kind in within.items():
        if isinstance(raw.get(name, {}), dict):
            found[name] = _settings(draft, kind, raw[name], place / name) if name in raw else kind()
        else:
            draft.wrong(place / name, f"is {values.called(raw[name])}; it is written as [{place.key}.{name}]")
    for name, declared in known.items():
        if name in fixed:
            continue
        if name in raw:
            found[name] = _read(draft, declared, raw[name], place / name)
        elif name in schema.required(settings):
            found[name] = _stand_in(declared)
            if (place / name).key not in draft.faulty:
                unit = f", in {declared.unit}" if isinstance(declared, Quantity) else ""
                draft.wrong(place / name, f"is missing: {declared.meaning}{unit}")
    return settings(**found)


def _upset(draft: Draft, raw: dict[str, Any], place: Place) -> UpsetSettings:
    """An upset: its hours; ``case.upsets`` reads the sections it lays over the case."""
    arrays = [name for name in SECTIONS if schema.shape(name) is Shape.ARRAY]
    sections = [name for name in SECTIONS if name not in (*arrays, "upset")]
    for name, item in raw.items():
        if name == "limit":
            draft.wrong(
                place / name, "an upset has no limits of its own; the case is judged in its usual state"
            )
        elif name in arrays:
            for at, text in upset_items.misshapen(item, f"[[{place.key}.{name}]]"):
                draft.wrong(Place((*place.path, name, *at), f"{place.key}.{name}"), text)
        elif name in sections and not isinstance(item, dict):
            wanted = f"[{place.key}.{name}] and the settings that differ"
            draft.wrong(place / name, f"is {values.called(item)}; an upset has {wanted}")
        elif name not in (*sections, "hours"):
            draft.wrong(place / name, f"unknown section or key; {_misplaced(name, (*sections, 'hours'))}")
    found: UpsetSettings = _settings(
        draft, UpsetSettings, {k: x for k, x in raw.items() if k == "hours"}, place
    )
    return found


def _limit(draft: Draft, raw: dict[str, Any], place: Place) -> LimitSettings:
    """A limit: its bound is in the unit of its reading."""
    from pyrobal.case import limits  # the engine, which a case without limits is read without

    fixed: dict[str, Any] = {}
    if "reading" in raw:
        fixed["reading"] = _attempt(draft, partial(limits.key, raw["reading"]), place / "reading", "?")
    unit = limits.unit(fixed.get("reading", "?"), [raw.get(side) for side in limits.SIDES])
    for side in limits.SIDES:
        if side in raw:
            draft.note(place / side)
            fixed[side] = _NAN
            if unit is not None:
                quantity = Quantity(unit, "bound")
                fixed[side] = _attempt(draft, partial(values.number, quantity, raw[side]), place / side, _NAN)
    found: LimitSettings = _settings(draft, LimitSettings, raw, place, unit=unit or "-", **fixed)
    return found


def _unknown(name: str, known: Iterable[str]) -> str:
    said = suggestion(name, known)
    return said if said.startswith("did you mean") else _misplaced(name, known)


def _fuel(draft: Draft, raw: dict[str, Any], place: Place) -> FuelSettings:
    """A fuel: its components stand in its own table, and say whether it is a gas."""
    names = [name for name in raw if name not in schema.written(FuelSettings)]
    compounds = {name: _compound(name) for name in names if name not in FUEL_COMPONENTS}
    both = set(GAS_COMPONENTS) & set(ULTIMATE_COMPONENTS)
    parts = {
        "vol% of a gas": [
            n for n in names if (n in GAS_COMPONENTS and n not in both) or compounds.get(n) == "gas"
        ],
        "an ultimate analysis in wt%": [n for n in names if n in ULTIMATE_COMPONENTS and n not in both],
        "liquid compounds in wt%": [n for n in names if compounds.get(n) == "liquid"],
    }
    there = [f"{kind} ({', '.join(found)})" for kind, found in parts.items() if found]
    if len(there) > 1:
        draft.wrong(place, f"mixes {' with '.join(there)}")
    known = (*FUEL_COMPONENTS, *(n for n, phase in compounds.items() if phase))
    unit = "wt%" if any("wt%" in kind for kind in there) else "vol%"
    components = {name: raw[name] for name in names if name in known}
    composition = _fractions(draft, known, unit, components, place)
    fuel: FuelSettings = _settings(draft, FuelSettings, raw, place, composition=composition)
    return fuel


def _no_component(name: str, known: Iterable[str]) -> str:
    """Why a key of a fuel is neither a setting nor a component."""
    from pyrobal.streams.compound import compound

    allowed = (*known, *FUEL_COMPONENTS)
    if nearest(name, allowed) is not None:
        return suggestion(name, allowed)
    try:
        compound(name)
    except ValueError as error:
        return f"as a component it {error}"
    return suggestion(name, allowed)


def _compound(name: str) -> str | None:
    """What a component of a fuel is that has no entry of its own: "gas", "liquid", or no compound."""
    from pyrobal.streams.compound import compound

    try:
        return "gas" if compound(name).phase == "gas" else "liquid"
    except ValueError:
        return None


def _read(draft: Draft, declared: Declaration, raw: Any, place: Place) -> Any:
    """One value as its declaration wants it, or a stand-in and a fault."""
    match declared:
        case Quantity():
            return _attempt(draft, partial(values.number, declared, raw), place, _NAN)
        case Choice():
            return _attempt(draft, partial(values.word, declared, raw), place, declared.options[0])
        case Text() | ReadingKey() | Bound():
            return _attempt(draft, partial(values.name, raw), place, "?")
        case Assay(allowed="assay"):
            return _assay(draft, raw, place)
        case Assay():
            return _fractions(draft, schema.ALLOWED[declared.allowed], "wt%", raw, place)
        case Precision():
            return _deviations(draft, raw, place)
        case Table():
            return _by_element(draft, declared, raw, place)


def _fractions(
    draft: Draft, allowed: tuple[str, ...], unit: str, raw: Any, place: Place
) -> dict[str, FloatN]:
    """A table of fractions of a whole, by name."""
    fractions: dict[str, FloatN] = {}
    for name, value in _entries(draft, allowed, raw, place):
        fractions[name] = _attempt(draft, partial(values.fraction, value, unit), place / name, _NAN)
    return fractions


def _assay(draft: Draft, raw: Any, place: Place) -> dict[str, FloatN]:
    """The lines of an assay; what is below detection is remembered as assumed."""
    lines: dict[str, FloatN] = {}
    for name, value in _entries(draft, schema.ALLOWED["assay"], raw, place):
        here = place / name
        lines[name] = _attempt(draft, partial(values.assay_line, value), here, _NAN)
        if values.below_detection(value):
            draft.halved[here.key] = f"{units.write(float(lines[name][0]), 'wt%')}, half of {value.strip()}"
    return lines


def _deviations(draft: Draft, raw: Any, place: Place) -> dict[str, Deviation]:
    """How sure each line of an assay is."""
    return {
        name: _attempt(draft, partial(values.deviation, value), place / name, Deviation(float("nan")))
        for name, value in _entries(draft, schema.ALLOWED["assay"], raw, place)
    }


def _by_element(draft: Draft, declared: Table, raw: Any, place: Place) -> dict[str, dict[str, FloatN]]:
    """Numbers by element and column; a bare share is in percent."""
    elements, columns = schema.columns(place.key.partition(".")[0], declared)
    table: dict[str, dict[str, FloatN]] = {}
    for element, entries in _entries(draft, elements, raw, place):
        table[element] = {}
        for name, value in _entries(draft, tuple(columns), entries, place / element):
            one = columns[name]
            read = (
                partial(values.fraction, value, "%")
                if one.unit == "%"
                else partial(values.number, one, value)
            )
            table[element][name] = _attempt(draft, read, place / element / name, _NAN)
    return table


def _entries(draft: Draft, allowed: tuple[str, ...], raw: Any, place: Place) -> Iterator[tuple[str, Any]]:
    """The entries of a table that have a known name."""
    draft.note(place)
    if not isinstance(raw, dict):
        draft.wrong(place, f"is {values.called(raw)}; a table of names and shares is needed")
        return
    for name, value in raw.items():
        if name in allowed:
            yield name, value
        else:
            draft.wrong(place / name, f"unknown name; {_meant(name, allowed)}")


def _meant(name: str, allowed: tuple[str, ...]) -> str:
    """The allowed name that was meant; for a chemical formula only one of the same elements, oxygen aside."""
    if not is_formula(name) or name.casefold() in map(str.casefold, allowed):
        return suggestion(name, allowed)
    alike = [other for other in allowed if is_formula(other) and _metals(other) == _metals(name)]
    return f'did you mean "{alike[0]}"?' if alike else f"allowed: {', '.join(allowed)}"


def _metals(formula: str) -> set[str]:
    return set(symbols(formula)) - {"O"}


def _attempt(draft: Draft, read: Callable[[], Any], place: Place, otherwise: Any) -> Any:
    draft.note(place)
    try:
        return read()
    except ValueError as error:
        draft.wrong(place, str(error))
        return otherwise


def _blank(settings: type) -> Any:
    """Settings of a table that could not be read."""
    known = schema.written(settings)
    return settings(**{name: _stand_in(known[name]) for name in schema.required(settings)})


def _stand_in(declared: Declaration) -> Any:
    if isinstance(declared, Choice):
        return declared.options[0]
    return "?" if isinstance(declared, Text | ReadingKey) else _NAN
