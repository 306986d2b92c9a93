"""Which scenarios a study runs: axes of settings, and the grid they span."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN, Floats
from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError, Fault
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.studies.variable import Variable, find

MOST_SCENARIOS: Final = 100_000_000  # a day of two cores
MOST_FAULTS: Final = 50


@dataclass(frozen=True, eq=False)
class Axis:
    """Settings that step together.

    values : (steps, V) in SI, one column per variable
    """

    variables: tuple[Variable, ...]
    values: Floats


@dataclass(frozen=True, eq=False)
class Grid:
    """Every combination of the steps of its axes, the last running fastest; without axes the case alone."""

    axes: tuple[Axis, ...]

    @property
    def scenarios(self) -> int:
        """How many there are."""
        return math.prod(len(axis.values) for axis in self.axes)

    @property
    def variables(self) -> tuple[Variable, ...]:
        """The settings, axis by axis: the columns of ``values``."""
        return tuple(variable for axis in self.axes for variable in axis.variables)

    def values(self, start: int, stop: int) -> Floats:
        """(stop - start, V) in SI, of the scenarios from ``start`` on."""
        if not self.axes:
            return np.empty((stop - start, 0))
        steps = np.unravel_index(np.arange(start, stop), [len(axis.values) for axis in self.axes])
        return np.concatenate([a.values[i] for a, i in zip(self.axes, steps, strict=True)], axis=1)


def varied(inputs: Inputs, variables: Sequence[Variable], values: Floats) -> Inputs:
    """The inputs with each variable (V) set to its column of ``values`` (N, V), in SI."""
    for variable, column in zip(variables, values.T, strict=True):
        inputs = variable.put(inputs, np.ascontiguousarray(column))
    return inputs


def grid(
    case: Case,
    over: Mapping[str, str | Sequence[Any]],
    scenarios: str | Path | None = None,
    option: str = "--over",
) -> Grid:
    """A grid over settings, and over the rows of a table of scenarios where there is one.

    over : key -> "FROM:TO:COUNT", a list in one text, or a sequence of values as in a case file
    scenarios : CSV file whose columns are keys, "KEY" or "KEY [unit]"
    Raises CaseError with every fault: an unknown key, a value or an empty range, too many scenarios, a
    setting that contradicts the case.
    """
    faults: list[Fault] = []
    axes = [_listed(case.inputs, Path(scenarios), faults)] if scenarios is not None else []
    axes += [_stepped(case.inputs, key, steps, option, faults) for key, steps in over.items()]
    found = Grid(tuple(axis for axis in axes if axis is not None))
    keys = [variable.key for axis in found.axes for variable in dict.fromkeys(axis.variables)]
    faults += [
        Fault(option, None, key, f"is varied twice, here and in {scenarios}")
        for key in dict.fromkeys(keys)
        if keys.count(key) > 1
    ]
    if not faults and not found.axes:
        faults.append(Fault(option, None, "", "no setting is varied; give a key and its range"))
    if not faults and found.scenarios > MOST_SCENARIOS:
        faults.append(too_many(found.scenarios, option))
    if faults:
        raise CaseError(faults)
    _fits(case, found, option)
    return found


def too_many(scenarios: int, option: str) -> Fault:
    """What there is to say about more scenarios than ``MOST_SCENARIOS``."""
    text = f"{scenarios:,} scenarios are more than {MOST_SCENARIOS:,}; take fewer steps or settings"
    return Fault(option, None, "", text)


def steps(variable: Variable, written: str | Sequence[Any]) -> FloatN:
    """The values of one setting, (k,) in SI. Raises ValueError for an empty range or a wrong value."""
    if not isinstance(written, str):
        found = [variable.si(value) for value in written]
        if not found:
            raise ValueError("the list of values is empty")
        return np.array(found)
    parts = [part.strip() for part in written.split(":")]
    if len(parts) == 1:
        return np.array([variable.si(_number(part)) for part in written.split(",")])
    if len(parts) != 3:
        raise ValueError(f'"{written}" is neither FROM:TO:COUNT nor a list of values with commas')
    low, high = ends(variable, parts[0], parts[1])
    if not parts[2].isdecimal():
        raise ValueError(f'"{parts[2]}" is not a count of steps')
    count = int(parts[2])
    if count == 0 or (count == 1 and low != high):
        raise ValueError(f'"{written}" is an empty range; it needs 2 steps or more')
    if count > MOST_SCENARIOS:
        raise ValueError(f"{count:,} steps are more than {MOST_SCENARIOS:,}")
    return np.linspace(low, high, count)


def ends(variable: Variable, low: str, high: str) -> tuple[float, float]:
    """The two ends of a range in SI; the first may leave its unit to the second."""
    try:
        float(low)
    except ValueError:
        return variable.si(_number(low)), variable.si(_number(high))
    unit = high.strip().lstrip("+-.0123456789eE").strip()
    return variable.si(_number(f"{low} {unit}".strip())), variable.si(_number(high))


def _number(text: str) -> str | float:
    """A bare number as a number, which an assay or a ratio takes; anything else as it stands."""
    try:
        return float(text)
    except ValueError:
        return text.strip()


def _stepped(
    inputs: Inputs, key: str, written: str | Sequence[Any], option: str, faults: list[Fault]
) -> Axis | None:
    try:
        variable = find(inputs, key)
        return Axis((variable,), steps(variable, written)[:, None])
    except ValueError as error:
        faults.append(Fault(option, None, key, str(error)))
        return None


def _listed(inputs: Inputs, file: Path, faults: list[Fault]) -> Axis | None:
    """The rows of a table of scenarios as one axis."""
    try:
        with file.open(newline="", encoding="utf-8-sig") as text:
            reader = csv.reader(text)
            columns = _headings(inputs, next(reader, []), str(file), faults)
            lines = [(reader.line_num, cells) for cells in reader if cells]
    except (UnicodeDecodeError, csv.Error) as error:
        faults.append(Fault(str(file), None, "", f"is not a table of comma-separated UTF-8 text: {error}"))
        return None
    if not lines:
        faults.append(Fault(str(file), None, "", "holds no scenarios: a line of keys, then a line for each"))
    if faults:
        return None
    for line, cells in lines:
        if len(cells) != len(columns):
            faults.append(Fault(str(file), line, "", f"{len(cells)} cells under {len(columns)} headings"))
            return None
    numbers = [line for line, _ in lines]
    values = [
        _column(variable, unit, [cells[i] for _, cells in lines], (str(file), numbers), faults)
        for i, (variable, unit) in enumerate(columns)
    ]
    return None if faults else Axis(tuple(v for v, _ in columns), np.column_stack(values))


def _headings(
    inputs: Inputs, cells: Iterable[str], file: str, faults: list[Fault]
) -> list[tuple[Variable, str]]:
    """Variable and unit of each column; the unit is empty where each cell has its own."""
    columns = []
    for cell in cells:
        key, _, unit = cell.strip().partition("[")
        try:
            variable = find(inputs, key.strip())
            unit = unit.strip().removesuffix("]").strip()
            if unit:
                units.parse(f"1 {unit}", variable.unit)  # refuses a unit of another kind
            columns.append((variable, unit))
        except ValueError as error:
            faults.append(Fault(file, 1, key.strip(), str(error)))
    keys = [variable.key for variable, _ in columns]
    faults += [Fault(file, 1, key, "heads two columns") for key in dict.fromkeys(keys) if keys.count(key) > 1]
    return columns


def _column(
    variable: Variable, unit: str, cells: Sequence[str], place: tuple[str, list[int]], faults: list[Fault]
) -> FloatN:
    """The cells below one heading, in SI; bare numbers with the unit of the heading all at once."""
    try:
        si = units.to_si(np.array([float(cell) for cell in cells]), unit) if unit else np.empty(0)
    except ValueError:
        si = np.empty(0)
    if si.size and variable.allows(si).all():
        return si
    values = []
    for line, cell in zip(place[1], cells, strict=True):
        try:
            values.append(variable.si(f"{cell} {unit}" if unit else _number(cell)))
        except ValueError as error:
            faults.append(Fault(place[0], line, variable.key, str(error)))
            if len(faults) >= MOST_FAULTS:
                break
    return np.array(values)


def _fits(case: Case, found: Grid, option: str) -> None:
    """Lay the first and the last scenario over the case through the door every case comes in by.

    So whatever the rules of a case refuse is refused here too; what only arithmetic can tell becomes the
    reason of a scenario. A case made in Python has no text to lay it over.
    """
    if "\n" not in case.text:
        return
    for row in dict.fromkeys((0, found.scenarios - 1)):
        values = found.values(row, row + 1)[0]
        pairs = zip(found.variables, values, strict=True)
        try:
            load_case(case.text, [*case.overrides, *(f"{v.key}={v.text(x)}" for v, x in pairs)])
        except CaseError as error:
            said = [Fault(option, None, fault.key, fault.text) for fault in error.faults]
            raise CaseError(said) from None


def unused(case: Case, variables: Sequence[Variable]) -> list[str]:
    """What there is to say about varied settings that have no effect in this case."""
    if "\n" not in case.text:
        return []
    base = [(v, v.value(case.inputs)) for v in variables]
    laid = [f"{v.key}={v.text(float(value[0]))}" for v, value in base if value is not None]
    cautions = load_case(case.text, [*case.overrides, *laid]).cautions
    keys = {v.key for v in variables}
    return [f"{fault.key}: {fault.text}" for fault in cautions if fault.key in keys]
