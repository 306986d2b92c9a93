"""Identities that every substance must obey at every temperature, whatever its numbers are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from pyrobal.arrays import FloatN, FloatNS
from pyrobal.constants import T_STANDARD, R
from pyrobal.thermo.elements import ELEMENTS, composition
from pyrobal.thermo.properties import Species, species
from pyrobal.thermo.tables import Substance, load_substances

SUBSTANCES = load_substances()
EVERY = pytest.mark.parametrize("substance", SUBSTANCES.values(), ids=SUBSTANCES.keys())
CHAINS = pytest.mark.parametrize(
    "substance", [s for s in SUBSTANCES.values() if len(s.segments) > 1], ids=lambda s: s.name
)
STEP = 1e-30  # imaginary step: the derivative is exact to rounding
ROUNDING = 1e-9  # relative, double precision through a few dozen operations on terms of opposite sign

# Stable forms of the elements at 298.15 K and 1 bar: their enthalpy is the zero of the scale.
REFERENCE_FORMS = (
    "Cu", "Fe", "S", "O2(g)", "C", "H2(g)", "N2(g)", "Ar(g)", "As", "Sb", "Bi", "Pb", "Zn", "Ni", "Co", "Se",
    "Te", "Au", "Ag", "Hg",
)  # fmt: skip
# Heat capacity per atom, in R: crystals near 3, melts 3 to 5, acid at 25 degC a little above 2, gases from
# 5/2 for atoms down to near 1 for many light atoms. Outside these bounds a coefficient is mistyped; an
# order-disorder peak is the one honest exception.
PER_ATOM = {"solid": (0.9, 6.5), "liquid": (2.1, 6.5), "slag": (2.1, 6.5), "gas": (0.7, 3.6)}
PEAKS = {
    ("Fe", "bcc, lambda range"),
    ("Fe", "bcc, paramagnetic"),
    ("Co", "beta"),
    ("CuFeS2", "cubic, lambda range"),
}


def grid(substance: Substance) -> FloatN:
    """Temperatures inside every segment, none on a boundary."""
    inside = np.array([0.003, 0.2, 0.5, 0.8, 0.997])
    return np.concatenate([s.T_low + (s.T_high - s.T_low) * inside for s in substance.segments])


def one(substance: Substance) -> Species:
    return species(substance.name)


def derivative(formula: Callable[[Any], Any], T: FloatN) -> FloatNS:
    """By a step along the imaginary axis: no difference is taken, so none cancels."""
    slope: FloatNS = formula(T + 1j * STEP).imag / STEP
    return slope


@EVERY
def test_heat_capacity_is_the_slope_of_enthalpy(substance: Substance) -> None:
    T = grid(substance)
    slope = derivative(one(substance).enthalpy, T)
    np.testing.assert_allclose(slope, one(substance).heat_capacity(T), rtol=ROUNDING)


@EVERY
def test_entropy_rises_by_heat_capacity_over_temperature(substance: Substance) -> None:
    T = grid(substance)
    slope = derivative(one(substance).entropy, T)
    np.testing.assert_allclose(slope, one(substance).heat_capacity(T) / T[:, None], rtol=ROUNDING)


@EVERY
def test_enthalpy_difference_is_the_integral_of_heat_capacity(substance: Substance) -> None:
    """By Gauss-Legendre quadrature over each segment: independent of the closed integral."""
    nodes, weights = np.polynomial.legendre.leggauss(24)
    for segment in substance.segments:
        half = (segment.T_high - segment.T_low) / 2
        T = segment.T_low + half * (1 + nodes)
        heat = half * float(weights @ one(substance).heat_capacity(T)[:, 0])
        ends = segment.curve.enthalpy(segment.T_high) - segment.curve.enthalpy(segment.T_low)
        assert heat == pytest.approx(ends, rel=1e-8)


@EVERY
def test_gibbs_energy_falls_with_entropy(substance: Substance) -> None:
    T = grid(substance)
    slope = derivative(one(substance).gibbs, T)
    np.testing.assert_allclose(slope, -one(substance).entropy(T), rtol=ROUNDING)
    np.testing.assert_allclose(
        one(substance).gibbs(T),
        one(substance).enthalpy(T) - T[:, None] * one(substance).entropy(T),
        rtol=1e-14,
    )


@CHAINS
def test_jumps_are_the_stated_transition_heats(substance: Substance) -> None:
    """Enthalpy jumps by dH, entropy by dH / T, the Gibbs energy not at all."""
    for below in substance.segments[:-1]:
        assert below.dH_transition is not None
        T = np.array([below.T_high, np.nextafter(below.T_high, np.inf)])
        H, S, G = one(substance).enthalpy(T), one(substance).entropy(T), one(substance).gibbs(T)
        assert H[1, 0] - H[0, 0] == pytest.approx(below.dH_transition, abs=1e-4)
        assert S[1, 0] - S[0, 0] == pytest.approx(below.dH_transition / below.T_high, abs=1e-7)
        assert G[1, 0] - G[0, 0] == pytest.approx(0.0, abs=1e-4)


@EVERY
def test_heat_capacity_per_atom_is_possible(substance: Substance) -> None:
    if "Rest" in substance.name:
        pytest.skip("a pseudo substance has no atoms")
    low, high = (bound * R for bound in PER_ATOM[substance.phase])
    atoms = sum(composition(substance.formula).values())
    for segment in substance.segments:
        if (substance.name, segment.form) in PEAKS:
            continue
        T = np.linspace(max(segment.T_low, T_STANDARD), segment.T_high, 9)
        per_atom = segment.curve.heat_capacity(T) / atoms
        assert (low < per_atom).all() and (per_atom < high).all()


@EVERY
def test_entropy_is_positive_and_rises(substance: Substance) -> None:
    if "Rest" in substance.name:
        pytest.skip("a pseudo substance has no entropy")
    S = one(substance).entropy(grid(substance))[:, 0]
    assert (S > 0).all() and (np.diff(S) > 0).all()


@pytest.mark.parametrize("name", REFERENCE_FORMS)
def test_elements_have_no_enthalpy_of_formation(name: str) -> None:
    assert SUBSTANCES[name].H298 == 0.0
    assert species(name).enthalpy(np.array([T_STANDARD]))[0, 0] == pytest.approx(0.0, abs=1e-6)


def test_every_element_of_the_axis_has_a_substance() -> None:
    held = {element for s in SUBSTANCES.values() for element in composition(s.formula)}
    assert held == set(ELEMENTS)


@EVERY
def test_curve_at_standard_temperature_is_the_stated_value(substance: Substance) -> None:
    T = np.array([T_STANDARD])
    assert one(substance).enthalpy(T)[0, 0] == pytest.approx(substance.H298, abs=1e-4)
    assert one(substance).entropy(T)[0, 0] == pytest.approx(substance.S298, abs=1e-7)


@EVERY
def test_standard_state_stands_for_itself(substance: Substance) -> None:
    standard = SUBSTANCES[substance.standard_state]
    assert standard.standard_state == standard.name
    assert one(substance).reference_enthalpy[0] == standard.H298


MELTS = [s.name for s in SUBSTANCES.values() if s.name.endswith("(l)") and s.standard_state != s.name]


@pytest.mark.parametrize("name", MELTS)
def test_melt_joins_the_crystal_at_its_melting_point(name: str) -> None:
    """Where the standard state melts within its own chain, X and X(l) are one curve above that point."""
    standard = SUBSTANCES[SUBSTANCES[name].standard_state]
    liquid = [segment for segment in standard.segments if segment.form == "liquid"]
    if not liquid:
        pytest.skip("the chain of the standard state has no melting point")
    T = np.array([liquid[0].T_low + 1.0, liquid[-1].T_high - 1.0])
    both = species(standard.name, name)
    for values in (both.enthalpy(T), both.entropy(T)):
        np.testing.assert_array_equal(values[:, 0], values[:, 1])


def test_vector_is_scalar_bit_for_bit() -> None:
    """Every substance at once and one at a time, many temperatures and one at a time."""
    everything = species(*SUBSTANCES)
    T = np.linspace(250.0, 2300.0, 41)
    for method in ("heat_capacity", "enthalpy", "entropy", "gibbs"):
        together = getattr(everything, method)(T)
        for n, temperature in enumerate(T):
            np.testing.assert_array_equal(
                together[n], getattr(everything, method)(np.array([temperature]))[0]
            )
        for s, name in enumerate(SUBSTANCES):
            np.testing.assert_array_equal(together[:, s], getattr(species(name), method)(T)[:, 0])


def test_order_of_substances_does_not_matter() -> None:
    names = tuple(SUBSTANCES)
    T = np.linspace(300.0, 2000.0, 7)
    shuffled = np.random.default_rng(7).permutation(len(names))
    there = species(*(names[s] for s in shuffled)).enthalpy(T)
    np.testing.assert_array_equal(there, species(*names).enthalpy(T)[:, shuffled])


def test_a_temperature_that_is_no_number_stays_alone() -> None:
    sp = species("Cu2S", "FeS", "SO2(g)", "Fe")
    T = np.array([1500.0, np.nan, 900.0])
    with_nan, without = sp.enthalpy(T), sp.enthalpy(T[[0, 2]])
    assert np.isnan(with_nan[1]).all()
    np.testing.assert_array_equal(with_nan[[0, 2]], without)
