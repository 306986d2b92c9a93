"""The permit's lines as one table to hand over: rate, concentration and its basis, stack by stack."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from pyrobal.plant.emissions import AVERAGING_TIMES, KINDS, StackSettings, held
from pyrobal.readings.limits import limits
from pyrobal.report.numbers import number, quantity
from pyrobal.report.result import Line, Result
from pyrobal.report.tables import Cell, Column, Table, words
from pyrobal.units import display

_COLUMNS: Final = (
    Column("from"),
    Column("what"),
    Column("", "kg/h"),
    Column("", "mg/m3"),
    Column("stated"),
    Column("limit"),
    Column("rests on"),
)
_PAST_THE_HOODS: Final = ("secondary", "fugitive")
_NAMES: Final = {"so2": "SO2", "mist": "acid mist"}
_RESTS_ON: Final = {"so2": "balance", "mist": "mist"}
_NOTES: Final = (
    "A mean over time, and of SO2 the highest mean over 10 min, 1 h and 24 h while the vessels follow their "
    "schedule, SO2 over gas, each time step as if steady; a stack without such lines is steady. A cubic "
    "metre is at 101.325 kPa and the temperature, moisture and oxygen beside it ([stack.NAME] sets them).",
    "Balance: sulfur fed less sulfur kept. Mist: acid_plant.tail_mist and SO3 of gas lines. Catch: dust and "
    "deportment of the furnaces, and what each piece behind them catches. Shares: what escapes and is caught "
    "(emissions.converting_escape, smelting_escape, secondary_capture), hood flows and filters. Filter: "
    "dryer.dust. Those the case does not give are assumed: --detail assumptions.",
    "Limit: what the case gives for that line, in [emissions] or as a [[limit]]; none is built in. Which "
    "averaging time it is for, the permit decides.",
    "A screening calculation: the permit, its methods of measurement and licensed practice decide.",
)


def permit(result: Result) -> Table:
    """Everything that leaves to the air, by source and kind, then the site; nothing without emissions."""
    lines = {line.key: line for line in result.lines if line.key.startswith("emissions.")}
    return Table("Permit", _COLUMNS, (*_sources(result, lines), *_site(result, lines)), _NOTES, stub=2)


def _sources(result: Result, lines: dict[str, Line]) -> Iterator[tuple[Cell, ...]]:
    emitted = result.results.emissions
    for source in emitted.sources if emitted is not None else ():
        for kind in KINDS:
            if (rate := lines.get(f"emissions.{kind}_from.{source}")) is not None:
                stated = lines.get(f"emissions.stated.{source}.{kind}")
                basis = (stated.shown, _basis(result, lines, source)) if stated is not None else ("", "-")
                keys = (f"emissions.stated.{source}.{kind}", f"emissions.{kind}_from.{source}")
                end = (_limits(result, lines, *keys), _rests_on(source, kind))
                yield (words(source), _NAMES.get(kind, kind), rate.shown, *basis, *end)
                if kind == "so2":
                    for what, line in _worst(lines, f"emissions.highest.{source}"):
                        end = (_limits(result, lines, line.key), _rests_on(source, kind))
                        yield (words(source), what, "", line.shown, basis[1], *end)


def _worst(lines: dict[str, Line], family: str) -> Iterator[tuple[str, Line]]:
    """Highest means, by the averaging time in words."""
    for time in AVERAGING_TIMES:
        if (line := lines.get(f"{family}.{time}")) is not None:
            yield f"SO2 {words(time)}", line


def _site(result: Result, lines: dict[str, Line]) -> Iterator[tuple[Cell, ...]]:
    for kind in KINDS:
        if (each := lines.get(f"emissions.{kind}_per_t_cu")) is not None:
            per_tonne = f"{quantity(each.shown, each.unit)} Cu"
            limit = _limits(result, lines, f"emissions.{kind}", each.key)
            yield (
                "site",
                _NAMES.get(kind, kind),
                lines[f"emissions.{kind}"].shown,
                "",
                per_tonne,
                limit,
                "sum",
            )
    for what, line in _worst(lines, "emissions.so2_highest"):
        yield ("site", what, line.shown, "", "-", _limits(result, lines, line.key), "sum")
    if (each := lines.get("emissions.co2_per_t_cu")) is not None:
        per_tonne = f"{quantity(each.shown, each.unit)} Cu"
        limit = _limits(result, lines, "emissions.co2", each.key)
        yield ("site", "CO2", 1000.0 * lines["emissions.co2"].shown, "", per_tonne, limit, "carbon")


def _limits(result: Result, lines: dict[str, Line], *keys: str) -> str:
    """The bounds that the case gives on any of these readings, in [emissions] or as a [[limit]]."""
    emitted = result.results.emissions
    permitted = {key: x.bound for key, x in held(emitted).items()} if emitted is not None else {}
    found = []
    for key in (key for key in keys if key in lines):
        unit = lines[key].unit
        own = [(x.bound, x.upper) for x in limits(result.case.inputs).values() if x.own and x.reading == key]
        for bound, upper in (*own, (permitted.get(key), True)):
            if bound is not None:
                value = quantity(float(display(bound, unit)[0]), unit)
                found.append(value if upper else f"at least {value}")
    return "; ".join(found) or "-"


def _rests_on(source: str, kind: str) -> str:
    if source in _PAST_THE_HOODS:
        return "shares"
    return "filter" if (source, kind) == ("dryer", "dust") else _RESTS_ON.get(kind, "catch")


def _basis(result: Result, lines: dict[str, Line], stack: str) -> str:
    """Moisture, oxygen and temperature of the cubic metre; the oxygen measured where none is set."""
    s = result.case.inputs.stack.get(stack, StackSettings())
    moisture, degrees = 100 * float(s.reference_moisture[0]), float(s.reference_temperature[0]) - 273.15
    oxygen = lines[f"emissions.stack.{stack}.o2"].shown
    if s.reference_oxygen is not None:
        oxygen = 100 * float(s.reference_oxygen[0])
    wet = f"{number(moisture)} % water" if moisture else "dry"
    return f"{wet}, {number(oxygen, 3)} % O2, {number(degrees)} degC"
