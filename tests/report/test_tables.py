"""Tables follow from the readings, and say the same numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pytest

from pyrobal.readings.registry import find, readings
from pyrobal.report.labels import label
from pyrobal.report.result import Line, Result
from pyrobal.report.sections import Sections
from pyrobal.report.summary import summary
from pyrobal.report.tables import (
    Table,
    every_reading,
    matrix_lines,
    plain,
    stream_lines,
    stream_tables,
)


def _cells(tables: Iterator[Table] | tuple[Table, ...]) -> list[float]:
    return [cell for table in tables for row in table.rows for cell in row if isinstance(cell, float)]


def test_every_reading_stands_in_its_section(skerry: Result) -> None:
    found = Sections(skerry)
    for line in skerry.told:
        tables = found[line.key.partition(".")[0]]
        told = any(math.isclose(line.value, x, rel_tol=1e-12, abs_tol=1e-12) for x in _cells(tables))
        left_out = not line.shown and any("Zero: " in note for table in tables for note in table.notes)
        assert told or left_out, line.key


def test_sections_are_the_words_of_the_registry(skerry: Result) -> None:
    words = dict.fromkeys(r.key.partition(".")[0] for r in readings() if r.keys(skerry.results))
    assert list(Sections(skerry)) == [*words, "solution", "messages", "assumptions"]


def test_all_rows_are_as_wide_as_the_headings(skerry: Result, infeasible: Result, nasty: Result) -> None:
    for result in (skerry, infeasible, nasty):
        for tables in Sections(result).values():
            for table in tables:
                assert {len(row) for row in table.rows} <= {len(table.columns)}


def test_heat_in_and_out_add_up_to_the_total(skerry: Result) -> None:
    table = next(t for t in Sections(skerry)["smelting"] if "heat balance" in t.title)
    *items, sums = table.rows
    total = skerry["smelting.heat.total"].magnitude
    assert sums[1] == pytest.approx(total, rel=1e-12)
    assert sums[3] == pytest.approx(total, rel=1e-9)
    assert sum(row[3] for row in items if row[3] != "") == pytest.approx(total, rel=1e-9)
    assert {"reaction", "charge", "fuel"} <= {row[0] for row in items}
    assert {"matte", "slag", "gas", "loss", "surplus"} <= {row[2] for row in items}


def test_streams_stand_side_by_side_with_their_units(skerry: Result) -> None:
    solids = next(t for t in Sections(skerry)["smelting"] if "matte, slag" in t.title)
    headings = [column.heading for column in solids.columns]
    rows = {row[0]: row for row in solids.rows}
    assert headings[:4] == ["", "unit", "matte", "slag"]
    assert rows["Cu"][1:4] == (
        "wt%", skerry["smelting.matte.assay.Cu"].magnitude, skerry["smelting.slag.assay.Cu"].magnitude
    )  # fmt: skip
    assert rows["rate"][1] == "t/h"


def test_a_step_that_is_not_there_yet_gets_its_tables() -> None:
    made = {
        "converting.blister.rate": "t/h", "converting.blister.assay.Cu": "wt%", "converting.slag.rate": "t/h",
        "converting.slag.assay.SiO2": "wt%", "gas.boiler.flow_wet": "Nm3/h", "gas.boiler.so2": "vol%",
        "gas.steam": "t/h",
    }  # fmt: skip
    lines = [Line(key, 1.0, unit, "") for key, unit in made.items()]
    streams = stream_lines(lines)
    assert list(streams) == ["converting.blister", "converting.slag", "gas.boiler"]
    assert list(streams["gas.boiler"]) == ["flow_wet", "so2"]


def test_deportment_is_a_matrix_whose_rows_sum_to_100(skerry: Result) -> None:
    table = next(t for t in Sections(skerry)["deportment"] if t.title == "Deportment")
    assert [c.unit for c in table.columns[1:]] == ["%"] * (len(table.columns) - 1)
    for row in table.rows:
        assert sum(row[1:]) == pytest.approx(100.0, abs=1e-6), row


def test_every_reading_is_told_with_unit_and_meaning(skerry: Result) -> None:
    table = every_reading(skerry.lines)
    assert [row[1] for row in table.rows] == list(skerry)
    for name, key, _, unit, meaning in table.rows:
        assert name == label(str(key))
        reading, _ = find(str(key))
        assert unit == reading.unit_for(skerry.results)
        assert meaning == reading.meaning


def test_summary_picks_readings_that_exist() -> None:
    """A key of the first screen that no registry knows would never show; names of later steps may wait."""
    from pyrobal.report import summary as module

    here = {r.key.partition(".")[0] for r in readings()}
    keys = [
        k
        for rows in module._LAYOUT.values()
        for _, main, remarks in rows
        for k in (main, *(r[0] for r in remarks))
    ]
    for key in keys:
        if key.partition(".")[0] in here:
            find(key)  # raises KeyError


def test_summary_is_empty_without_an_answer(skerry: Result, infeasible: Result) -> None:
    assert [g.heading for g in summary(skerry)][:3] == ["Feed", "Blow", "Products"]
    assert summary(infeasible) == ()


def test_plain_text_steers_no_terminal() -> None:
    assert plain("a\x1b[31m b\n c\u202ed\x07") == "a\N{REPLACEMENT CHARACTER}[31m b c" + (
        "\N{REPLACEMENT CHARACTER}d\N{REPLACEMENT CHARACTER}"
    )


def test_no_number_of_a_stream_stands_under_the_unit_of_another(whole_plant: Result) -> None:
    """Slag comes in t/h and slimes in kg/h; they share the row of no unit."""
    streams = stream_lines(whole_plant.lines)
    units = {line.unit for stream in streams.values() for name, line in stream.items() if name == "rate"}
    assert len(units) > 1
    for word in ("converting", "electrorefining", "gas"):
        own = {head: stream for head, stream in streams.items() if head.startswith(f"{word}.")}
        told = {
            (str(row[0]), str(row[1]), cell)
            for table in stream_tables(word, own)
            for row in table.rows
            for cell in row[2:]
            if cell != ""
        }
        for stream in own.values():
            for name, line in stream.items():
                assert math.isnan(line.value) or (
                    label(name.removeprefix("assay.")), line.unit, line.shown
                ) in told or not line.shown  # fmt: skip


def test_what_is_told_of_a_stream_is_no_matrix_too(whole_plant: Result) -> None:
    streams = {line.key for stream in stream_lines(whole_plant.lines).values() for line in stream.values()}
    in_matrices = {x.key for cells in matrix_lines(whole_plant.lines).values() for x in cells.values()}
    assert "gas.furnace.cooler.so2" in streams
    assert "deportment.Cu.slag_cleaning.slag" in in_matrices
    assert not streams & in_matrices


def test_the_solution_tells_how_the_furnace_and_the_recycles_converged(
    skerry: Result, whole_plant: Result, infeasible: Result
) -> None:
    tables = [Sections(result)["solution"][0].rows for result in (skerry, whole_plant, infeasible)]
    assert [row[0] for row in tables[0]] == [row[0] for row in tables[2]] == ["smelting"]
    assert [row[0] for row in tables[1]] == ["smelting", "recycles"]
    for rows in tables[:2]:
        assert all(row[1] >= 1 and 0 <= row[2] < 1e-9 for row in rows)  # type: ignore[operator]


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("smelting.matte.grade", "smelting matte grade"),
        ("smelting.gas.flow_wet", "smelting gas, wet"),
        ("smelting.matte.assay.Cu", "smelting matte Cu"),
        ("emissions.so2_from.acid_plant", "emissions SO2 from acid plant"),
        ("smelting.slag.fe_sio2", "smelting slag Fe/SiO2"),
    ],
)
def test_a_reading_is_called_what_people_call_it(key: str, said: str) -> None:
    assert label(key) == said


def test_labels_tell_readings_apart(whole_plant: Result) -> None:
    keys = list(whole_plant)
    assert len({label(key) for key in keys}) == len(keys)
