"""``pyrobal substance``: what the thermochemical tables say of one substance, and which there are."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from pyrobal.cli import complete

if TYPE_CHECKING:
    from rich.console import Console

    from pyrobal.arrays import FloatN
    from pyrobal.thermo.tables import Substance

MOST_ROWS = 500
_LISTED = ("name", "phase", "degC", "values", "title")
_COLUMNS = ("T degC", "form", "Cp", "H-H25", "H", "S", "G", "")


@click.command()
@click.argument("name", required=False, shell_complete=complete.substance)
@click.option(
    "--at", "temperatures", metavar="T", multiple=True, help='A temperature, "1250 degC"; repeatable.'
)
@click.option("--from", "start", metavar="T", help="First temperature of a table; 25 degC unless given.")
@click.option(
    "--to", "stop", metavar="T", help="Last temperature of a table; the end of the range unless given."
)
@click.option("--step", metavar="DT", help="Step of the table in K; 100 K unless given.")
def substance(name: str | None, temperatures: tuple[str, ...], start: str, stop: str, step: str) -> None:
    """Print the enthalpy, heat capacity, entropy and phases of NAME, with sources.

    A compound that only a fuel may hold, such as propane, has its values at 25 degC. Without NAME, list every
    substance of the tables.
    """
    from rich.console import Console

    console = Console(highlight=False)
    if name is None:
        _print_list(console)
        return
    found = _find(name)
    if found is None:
        if temperatures or start or stop or step:
            raise click.UsageError(f"of {name}, which is no substance of the tables, only 25 degC is known")
        _print_compound(console, name)
        return
    T = _at(temperatures) if temperatures else _range(found, start, stop, step)
    _print_substance(console, found, T)


def _find(name: str) -> Substance | None:
    """The substance of a name in the tables, or of what people call it; None for a compound of fuels."""
    from pyrobal.names import suggestion
    from pyrobal.streams.compound import compound
    from pyrobal.streams.mineralogy import MINERALS
    from pyrobal.thermo.tables import load_substances

    substances = load_substances()
    called = {_call(one): one for one in reversed(substances.values())}
    called |= {mineral: substances[formula] for mineral, formula in MINERALS.items()}
    found = substances.get(name) or called.get(name.casefold())
    if found is None:
        try:
            compound(name)
        except ValueError:
            near = suggestion(name, [*substances, *called], "pyrobal substance lists them")
            raise click.UsageError(f'no substance is called "{name}"; {near}') from None
    return found


def _print_compound(console: Console, name: str) -> None:
    """What a fuel takes from the ``chemicals`` library, and the heat capacity beside it."""
    from pyrobal.arrays import as_n
    from pyrobal.constants import MJ
    from pyrobal.streams.compound import SOURCE, compound
    from pyrobal.streams.fuel import FuelSettings, fuel

    found, burnt = compound(name), fuel(FuelSettings(composition={name: as_n(1.0)}))
    per_mole = float(burnt.heating_value[0]) * (1.0 if burnt.is_gas else found.molar_mass)
    console.print(f"{found.name}, {found.formula}, {found.phase} at 25 degC")
    console.print(f"heat of formation    {found.enthalpy / 1e3:.1f} kJ/mol")
    console.print(
        f"lower heating value  {per_mole / 1e3:.1f} kJ/mol, {per_mole / found.molar_mass / MJ:.2f} MJ/kg"
    )
    known = "not in the source" if math.isnan(found.heat_capacity) else f"{found.heat_capacity:.1f} J/(mol K)"
    console.print(f"heat capacity        {known}")
    console.print(f"source: {SOURCE}")


def _call(one: Substance) -> str:
    """What people call it: its title without what is said behind that."""
    return re.split("[,;]", one.title)[0].casefold()


def _at(temperatures: tuple[str, ...]) -> FloatN:
    from pyrobal.arrays import as_n

    return as_n([_temperature("--at", text) for text in temperatures])


def _range(found: Substance, start: str | None, stop: str | None, step: str | None) -> FloatN:
    """The table's temperatures: even steps, and each transition from either side."""
    import numpy as np

    from pyrobal.constants import T_STANDARD

    low = _temperature("--from", start) if start else max(found.T_low, T_STANDARD)
    high = _temperature("--to", stop) if stop else found.T_high
    by = _temperature("--step", step, "K") if step else 100.0
    if not (low <= high and by > 0.0 and (high - low) / by < MOST_ROWS):
        raise click.UsageError(f"--from, --to and --step must make 1 to {MOST_ROWS} rising temperatures")
    joins = [segment.T_high for segment in found.segments[:-1] if low < segment.T_high < high]
    above = [np.nextafter(T, high) for T in joins]  # the upper form at the same temperature
    return np.unique([*np.arange(low, high, by), *joins, *above, high])


def _temperature(option: str, text: str, unit: str = "degC") -> float:
    from pyrobal import units

    try:
        kelvin = units.parse(text, unit)
    except ValueError as error:
        raise click.UsageError(f"{option}: {error}") from None
    if kelvin <= 0.0:
        raise click.UsageError(f"{option}: {text} is not above 0 K")
    return kelvin


def _print_substance(console: Console, found: Substance, T: FloatN) -> None:
    from rich.text import Text

    from pyrobal.thermo.properties import property_rows
    from pyrobal.thermo.tables import load_sources

    sure = "" if math.isnan(found.uncertainty) else f" +- {found.uncertainty / 1e3:.3g}"
    console.print(Text(f"{found.name}: {found.title}, {found.formula}", "bold"))
    heat, entropy = f"H298 {found.H298 / 1e3:.6g}{sure} kJ/mol", f"S298 {found.S298:.6g} J/(mol K)"
    console.print(Text(f"{heat}, {entropy}; values: {found.seen}"))
    console.print(Text("Cp, S in J/(mol K); H-H25, H, G in kJ/mol; zero: elements at 25 degC, 1 bar"))
    if found.note:
        console.print(Text(f"Note: {found.note}"))
    rows = property_rows(found.name, T)
    _print_rows(console, _COLUMNS, [_cells(row) for row in rows], left=("form", ""))
    for segment in {row["source"]: None for row in rows}:
        for key in segment:
            console.print(Text(f"[{key}] {load_sources()[key]}", "dim"))


def _cells(row: dict[str, Any]) -> tuple[str, ...]:
    energies = (f"{row[symbol] / 1e3:.2f}" for symbol in ("dH", "H"))
    beyond = "beyond range" if row["out_of_range"] else ""
    T, Cp, S, G = (row[symbol] for symbol in ("T", "Cp", "S", "G"))
    return (f"{T - 273.15:.2f}", row["form"], f"{Cp:.2f}", *energies, f"{S:.2f}", f"{G / 1e3:.2f}", beyond)


def _print_list(console: Console) -> None:
    from pyrobal.thermo.tables import load_substances

    rows = [
        (one.name, one.phase, f"{one.T_low - 273.15:.0f} to {one.T_high - 273.15:.0f}", one.seen, one.title)
        for one in load_substances().values()
    ]
    _print_rows(console, _LISTED, rows, left=_LISTED)


def _print_rows(
    console: Console, columns: Sequence[str], rows: Sequence[Sequence[str]], left: Sequence[str]
) -> None:
    """Columns, those of ``left`` to the left; on a narrow terminal one value under the other."""
    from rich.table import Table
    from rich.text import Text

    from pyrobal.report.narrow import NARROW, print_stacked

    needed = sum(2 + max(map(len, column)) for column in zip(columns, *rows, strict=True))
    if console.width < (NARROW if left == columns else needed):  # words may be folded, numbers may not
        for name, *values in rows:
            print_stacked(console, name, [f"{c}: {v}" for c, v in zip(columns[1:], values, strict=True) if v])
        return
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, justify="left" if column in left else "right", overflow="fold")
    for row in rows:
        table.add_row(*map(Text, row))
    console.print(table)
