"""The table of the permit: every line of it a reading, its basis beside it, its sums those of the site."""

from __future__ import annotations

from pathlib import Path

import pytest
from demos import balanced

from pyrobal.case.load import load_case
from pyrobal.report.permit import permit
from pyrobal.report.result import Result, balance
from pyrobal.report.sections import Sections
from pyrobal.report.tables import Cell


def _rows(result: Result) -> dict[tuple[Cell, Cell], tuple[Cell, ...]]:
    return {row[:2]: row[2:] for row in permit(result).rows}


def test_sources_add_up_to_the_site(whole_plant: Result) -> None:
    rows = _rows(whole_plant)
    kinds = {
        what
        for source, what in rows
        if source == "site" and what != "CO2" and not str(what).startswith("SO2 ")
    }
    assert kinds == {"SO2", "acid mist", "dust", "As", "Pb"}  # no Hg and no Cd in this feed
    for kind in kinds:
        parts = [float(row[0]) for (source, what), row in rows.items() if what == kind and source != "site"]
        assert sum(parts) == pytest.approx(float(rows["site", kind][0]), rel=1e-9)


def test_rate_is_concentration_times_flow(whole_plant: Result) -> None:
    for (source, _), (rate, stated, *_rest) in _rows(whole_plant).items():
        if stated != "" and rate != "":
            stack = str(source).replace(" ", "_")
            flow = whole_plant[f"emissions.stack.{stack}.flow"].magnitude
            assert float(rate) == pytest.approx(float(stated) * flow * 1e-6, rel=1e-6)


def test_each_stack_is_stated_at_its_own_conditions() -> None:
    settings = ["stack.acid_plant.reference_oxygen=6 %", "stack.anode.reference_moisture=10 %"]
    settings += ["stack.secondary.reference_temperature=20 degC"]
    rows = _rows(balanced("marram_sound", *settings))
    plain = _rows(balanced("marram_sound"))
    assert rows["acid plant", "SO2"][2] == "dry, 6 % O2, 0 degC"
    assert rows["anode", "dust"][2].startswith("10 % water")  # type: ignore[union-attr]
    for source, factor in (("anode", 0.9), ("secondary", 273.15 / 293.15), ("dryer", 1.0)):
        ratio = float(rows[source, "dust"][1]) / float(plain[source, "dust"][1])
        assert ratio == pytest.approx(factor, rel=1e-6), source


def test_the_worst_of_each_averaging_time_stands_below_the_mean(whole_plant: Result) -> None:
    rows = _rows(whole_plant)
    for source, column in (("acid plant", 1), ("secondary", 1), ("site", 0)):
        found = [float(rows[source, "SO2"][column])]
        found += [float(rows[source, f"SO2 {time}"][column]) for time in ("24 h", "1 h", "10 min")]
        assert found == sorted(found) and found[-1] > 1.02 * found[0], source
    assert ("anode", "SO2 1 h") not in rows  # its gas is steady


def test_only_a_case_with_emissions_has_the_table(skerry: Result, whole_plant: Result) -> None:
    assert "permit" in list(Sections(whole_plant))
    assert "permit" not in list(Sections(skerry))


def test_the_limit_of_a_line_stands_beside_it() -> None:
    settings = [
        "emissions.so2_stack_limit=500 mg/Nm3",
        "emissions.so2_limit=900 kg/h",
        "emissions.mist_limit=40 mg/Nm3",
    ]
    settings += ["emissions.secondary_so2_limit=800 mg/Nm3", "emissions.so2_per_t_cu_limit=15 kg/t"]
    limit = {line: row[3] for line, row in _rows(balanced("marram_sound", *settings)).items()}
    assert limit["acid plant", "SO2"] == "500 mg/Nm3"
    assert limit["acid plant", "acid mist"] == "40 mg/Nm3"
    assert limit["secondary", "SO2"] == "800 mg/Nm3"
    assert limit["site", "SO2"] == "900 kg/h; 15 kg/t"
    assert limit["acid plant", "SO2 1 h"] == limit["secondary", "dust"] == "-"


def test_a_limit_of_the_case_stands_there_too() -> None:
    case = load_case(Path("cases/marram_sound.toml").read_text("utf-8") + LIMIT)
    limit = {line: row[3] for line, row in _rows(balance(case)).items()}
    assert limit["acid plant", "SO2 1 h"] == "700 mg/Nm3"
    assert limit["site", "As"] == "2 kg/h"


LIMIT = """
[[limit]]
name = "hourly mean"
reading = "emissions.highest.acid_plant.1_h"
most = "700 mg/Nm3"
[[limit]]
name = "arsenic"
reading = "emissions.As"
most = "2 kg/h"
"""
