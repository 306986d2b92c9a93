"""The loader refuses inconsistent tables, says where, and joins good ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from pyrobal.errors import DataError
from pyrobal.thermo.files import read_sources
from pyrobal.thermo.tables import (
    COLUMNS,
    SEEN,
    Substance,
    bare_formula,
    find,
    load_sources,
    load_substances,
    read_substances,
)

HEADER = ",".join(COLUMNS)
BIB = "@book{handbook,\n  author = {Doe, J.},\n  title = {A book},\n  year = {1999},\n}\n"
CRYSTAL = "CuO,CuO,solid,an oxide,CuO,,low,298.15,500,-100,40,50,1,0,0,2,1,handbook,seen,"
UPPER = "CuO,,,,,,liquid,500,900,,,60,0,0,0,,,,,"
MELT = "CuO(l),CuO,liquid,molten,CuO,CuO,liquid,400,1000,,,,,,,,,,,"


def read(folder: Path, *lines: str, bib: str = BIB) -> dict[str, Substance]:
    (folder / "substances").mkdir()
    (folder / "sources.bib").write_text(bib)
    (folder / "substances" / "some.csv").write_text("\n".join((HEADER, *lines)) + "\n")
    return read_substances(folder)


def test_good_rows_are_joined(tmp_path: Path) -> None:
    substances = read(tmp_path, CRYSTAL, UPPER, MELT)
    oxide, melt = substances["CuO"], substances["CuO(l)"]
    assert (oxide.H298, oxide.S298, oxide.uncertainty) == (-100e3, 40.0, 1e3)
    assert (oxide.T_low, oxide.T_high) == (298.15, 900.0)
    # by hand: -100000 + 50 (500 - 298.15) + 0.001 (500^2 - 298.15^2) / 2 + 2000, at the start of the melt
    assert oxide.segments[1].curve.enthalpy(500.0) == pytest.approx(-87826.95, abs=0.01)
    assert (melt.T_low, melt.T_high) == (400.0, 1000.0)
    assert melt.segments[0].curve.enthalpy(700.0) == oxide.segments[1].curve.enthalpy(700.0)
    assert oxide.source == ("handbook",) and oxide.seen == "seen"
    assert oxide.segment_at(500.0).form == "low" and oxide.segment_at(2000.0).form == "liquid"


BAD = {
    "gap between 500 K and 510 K": (CRYSTAL, UPPER.replace("500,900", "510,900")),
    "overlap between 500 K and 490 K": (CRYSTAL, UPPER.replace("500,900", "490,900")),
    "a bracket is not closed": (CRYSTAL.replace(",CuO,solid", ",Cu(O,solid"), UPPER),
    "not that of the name": (CRYSTAL.replace(",CuO,solid", ",Cu2O,solid"), UPPER),
    "unknown source pamphlet": (CRYSTAL.replace("handbook", "handbook; pamphlet"), UPPER),
    "a source and one of": (CRYSTAL.replace("handbook", ""), UPPER),
    "one of seen, memory, estimate": (CRYSTAL.replace("seen,", "guessed,"), UPPER),
    "dH_transition is blank": (CRYSTAL.replace(",0,2,1,", ",0,,1,"), UPPER),
    "cannot give off heat": (CRYSTAL.replace(",0,2,1,", ",0,-2,1,"), UPPER),
    "a transition heat, but no row above it": (CRYSTAL,),
    "T_low 500 K is not below T_high 500 K": (CRYSTAL, UPPER.replace("500,900", "500,500")),
    "heat capacity is not positive": (CRYSTAL, UPPER.replace(",60,0", ",60,-80")),
    "H298 is blank": (CRYSTAL.replace("-100,40", ",40"), UPPER),
    "'fifty' is not a number": (CRYSTAL.replace(",50,1", ",fifty,1"), UPPER),
    "phase 'plasma'": (CRYSTAL.replace(",solid,", ",plasma,"), UPPER),
    "standard state 'ZnO' is not this compound": (CRYSTAL.replace("an oxide,CuO", "an oxide,ZnO"), UPPER),
    "its rows must stand together": (CRYSTAL, UPPER, MELT, CRYSTAL),
    "no substance 'ZnO' with a curve": (CRYSTAL, UPPER, MELT.replace("CuO,liquid,400", "ZnO,liquid,400")),
    "has no form 'vapour'": (CRYSTAL, UPPER, MELT.replace("liquid,400", "vapour,400")),
    "state no a": (CRYSTAL, UPPER, MELT.replace("1000,,,", "1000,,,60")),
    "leaves out a form": (CRYSTAL, UPPER, MELT.replace("400,1000", "400,450")),
    "19 cells, expected 20": (CRYSTAL[:-1], UPPER),
}


@pytest.mark.parametrize(("message", "lines"), BAD.items(), ids=BAD.keys())
def test_bad_tables_are_refused(tmp_path: Path, message: str, lines: tuple[str, ...]) -> None:
    with pytest.raises(DataError, match=message) as caught:
        read(tmp_path, *lines)
    assert str(caught.value).startswith("some.csv:")


def test_wrong_columns_are_refused(tmp_path: Path) -> None:
    (tmp_path / "substances").mkdir()
    (tmp_path / "sources.bib").write_text(BIB)
    (tmp_path / "substances" / "some.csv").write_text("name,formula\n")
    with pytest.raises(DataError, match="the columns must be"):
        read_substances(tmp_path)


def test_unknown_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(DataError, match=r"no substance 'CuFeS' .*CuFeS2"):
        find("CuFeS")


def test_every_source_is_cited_by_a_row_or_a_docstring() -> None:
    """A source that nothing cites is a leftover."""
    substances = load_substances().values()
    cited = {key for s in substances for key in s.source}
    cited |= {key for s in substances for key in load_sources() if f"[{key}" in s.note or f"{key}]" in s.note}
    cited |= {"iupac2021", "maier1932"}  # elements.csv; the form of the heat capacity in curve.py
    assert set(load_sources()) == cited


def test_estimates_say_how() -> None:
    """Where a row is an estimate or from memory, its note explains it."""
    for substance in load_substances().values():
        if substance.seen != "seen" and substance.name == substance.standard_state:
            assert substance.note, substance.name


def test_certainty_is_one_of_three_words() -> None:
    assert {s.seen for s in load_substances().values()} == set(SEEN)


def test_bare_formula() -> None:
    names = ("FeO(slag)", "SiO2(cristobalite)", "Al2Si2O5(OH)4", "Fe2(SO4)3", "Cu")
    assert [bare_formula(name) for name in names] == ["FeO", "SiO2", *names[2:]]


def test_citations_are_readable(tmp_path: Path) -> None:
    (tmp_path / "some.bib").write_text(BIB)
    assert read_sources(tmp_path / "some.bib") == {"handbook": "Doe, J., A book, 1999"}
    assert all("{" not in text and text[-4:].isdigit() for text in load_sources().values())
