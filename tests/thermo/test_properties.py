"""Shapes, ranges and the rows behind a printed property table."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.errors import DataError
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS
from pyrobal.thermo.properties import property_rows, species
from pyrobal.thermo.tables import load_sources

NAMES = ("Cu2S(l)", "FeS(l)", "FeO(slag)", "SiO2(l)", "Fe3O4(slag)", "SO2(g)")


def test_shapes() -> None:
    sp = species(*NAMES)
    S, E = len(NAMES), len(ELEMENTS)
    assert sp.composition.shape == (S, E) and sp.molar_mass.shape == sp.H298.shape == (S,)
    np.testing.assert_array_equal(sp.molar_mass, sp.composition @ ATOMIC_MASS)
    for method in ("enthalpy", "heat_capacity", "entropy", "gibbs", "out_of_range"):
        assert getattr(sp, method)(np.array([1500.0])).shape == (1, S)
        assert getattr(sp, method)(np.array([1400.0, 1500.0, 1600.0])).shape == (3, S)
    assert len(sp) == S and sp.index("SO2(g)") == 5


def test_molar_masses() -> None:
    """g/mol, from the standard atomic weights by hand: 63.546 * 2 + 32.06; 32.06 + 2 * 15.999."""
    assert species("Cu2S", "SO2(g)", "Rest").molar_mass == pytest.approx([0.159152, 0.064058, 0.060])


def test_the_same_set_is_made_once() -> None:
    assert species(*NAMES) is species(*NAMES)


def test_sets_cannot_be_written_to() -> None:
    with pytest.raises(ValueError, match="read-only"):
        species(*NAMES).H298[0] = 0.0


def test_unknown_names() -> None:
    with pytest.raises(DataError, match=r"'FeO\(melt\)'.*did you mean"):
        species("Cu2S", "FeO(melt)")
    with pytest.raises(DataError, match="not among"):
        species("Cu2S").index("FeS")


def test_sensible_heat_is_counted_from_the_crystal_at_25_degrees() -> None:
    """Melting is in the sensible heat of FeO(l), melting and silicate formation in that of FeO(slag)."""
    sp = species("FeO", "FeO(l)", "FeO(slag)")
    assert sp.reference_enthalpy.tolist() == [-272044.0] * 3
    heat = (sp.enthalpy(np.array([1500.0])) - sp.reference_enthalpy)[0]
    assert heat[0] < heat[1] and heat[0] < heat[2]


def test_range_is_reported_and_the_end_segment_goes_on() -> None:
    sp = species("Cu2S(l)", "SO2(g)")
    T = np.array([900.0, 1500.0, 2100.0, 2300.0])
    assert sp.out_of_range(T).tolist() == [[True, False], [False, False], [True, False], [True, True]]
    H = sp.enthalpy(T)[:, 0]
    assert (H[2] - H[1]) / 600.0 == pytest.approx(89.663)  # the melt's constant heat capacity, no clipping


def test_property_rows() -> None:
    rows = property_rows("Cu2S", np.array([298.15, 1400.0, 1523.15, 2500.0]))
    assert [row["form"] for row in rows] == ["low chalcocite", "digenite-type, cubic", "liquid", "liquid"]
    assert [row["out_of_range"] for row in rows] == [False, False, False, True]
    assert rows[0]["dH"] == pytest.approx(0.0, abs=1e-6)
    for row in rows:
        assert pytest.approx(row["H"] - row["T"] * row["S"]) == row["G"]
        assert row["dH"] == pytest.approx(row["H"] + 79500.0)
        assert set(row["source"]) <= set(load_sources()) and row["seen"] == "seen"
    with pytest.raises(DataError, match="did you mean"):
        property_rows("Cu2Z", np.array([300.0]))


def test_rows_cost_one_look_per_temperature() -> None:
    """Many temperatures are one evaluation, not one per row."""
    T = np.linspace(300.0, 1900.0, 2000)
    rows = property_rows("SO2(g)", T)
    np.testing.assert_array_equal([row["Cp"] for row in rows], species("SO2(g)").heat_capacity(T)[:, 0])
