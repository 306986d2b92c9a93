"""Properties of a set of substances over temperature, all at once: T (N,) to (N, S)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, ClassVar

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNS, Floats, FloatSE, zeros
from pyrobal.errors import DataError
from pyrobal.thermo.curve import Curve
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS, composition
from pyrobal.thermo.tables import Substance, find
from pyrobal.trace.graph import current
from pyrobal.trace.solved import remembered, tabulated


@dataclass(frozen=True, eq=False)
class Species:
    """An ordered set of substances: the S axis of a phase.

    composition : (S, E) [-] atoms per formula unit, E as ``ELEMENTS``
    molar_mass : (S,) [kg/mol]
    H298 : (S,) [J/mol] at 298.15 K, elements at 298.15 K = 0; of a melt: of the hypothetical melt
    reference_enthalpy : (S,) [J/mol] H298 of the standard state of the same compound (of FeO(slag): of
        crystalline FeO), so that ``enthalpy(T) - reference_enthalpy`` is all the heat above 25 degC,
        melting and forming a silicate melt included
    T_low, T_high : (S,) [K] range stated by the tables
    transitions : (K,) [K] of all substances, in order
    curves : K + 1 of them, fields of shape (S,): below, between and above the transitions
    """

    shared_by_scenarios: ClassVar[bool] = True  # arrays.take leaves it whole
    names: tuple[str, ...]
    composition: FloatSE
    molar_mass: Floats
    H298: Floats
    reference_enthalpy: Floats
    T_low: Floats
    T_high: Floats
    transitions: Floats
    curves: tuple[Curve, ...]

    def __len__(self) -> int:
        return len(self.names)

    def index(self, name: str) -> int:
        """Place of a substance on the S axis. Raises DataError where it is not in this set."""
        try:
            return self.names.index(name)
        except ValueError:
            raise DataError(f"{name!r} is not among {', '.join(self.names)}") from None

    def heat_capacity(self, T: FloatN) -> FloatNS:
        """(N, S) [J/(mol K)] at T (N,) [K]."""
        return self._evaluate(Curve.heat_capacity, T)

    def enthalpy(self, T: FloatN) -> FloatNS:
        """(N, S) [J/mol] at T (N,) [K]; elements at 298.15 K = 0, so heats of formation are within."""
        return self._evaluate(Curve.enthalpy, T)

    def entropy(self, T: FloatN) -> FloatNS:
        """(N, S) [J/(mol K)] at T (N,) [K] and 1 bar, third law."""
        return self._evaluate(Curve.entropy, T)

    def gibbs(self, T: FloatN) -> FloatNS:
        """(N, S) [J/mol] at T (N,) [K] and 1 bar: G = H - T S."""
        return self.enthalpy(T) - T[:, None] * self.entropy(T)

    def out_of_range(self, T: FloatN) -> BoolN:
        """(N, S), true where T (N,) [K] lies outside the stated range of the substance.

        The properties go on along the end segment there; the caller must look here and say so.
        """
        column = T.real[:, None]
        return (column < self.T_low) | (column > self.T_high)

    def curve(self, T: float) -> Curve:
        """The curves of all substances, fields (S,), between the transitions next to T [K]."""
        return self.piece(int(np.searchsorted(self.transitions, T)))

    def piece(self, k: int) -> Curve:
        """The curves between the transitions k - 1 and k."""
        return self.curves[k] if current() is None else _traced_piece(self.names, k)

    def _evaluate(self, formula: Callable[[Curve, Any], Any], T: FloatN) -> FloatNS:
        """Between two transitions every substance keeps its segment; a segment holds above its own T_low."""
        interval = np.searchsorted(self.transitions, T.real)
        reached = set(interval.tolist())
        if len(reached) <= 1:
            value: FloatNS = formula(self.piece(max(reached, default=0)), T[:, None])
            return value
        value = zeros((len(T), len(self)), T)
        for k in reached:
            rows = interval == k
            value[rows] = formula(self.piece(k), T[rows, None])
        return value


# Fields that a trace knows as tables: what they are called, and their unit.
_TABLES = {
    "molar_mass": ("molar mass", "kg/mol"),
    "H298": ("enthalpy of formation", "J/mol"),
    "reference_enthalpy": ("enthalpy at 25 degC", "J/mol"),
    "T_low": ("lowest temperature", "K"),
    "T_high": ("highest temperature", "K"),
}
_CURVES = {
    "a": ("heat capacity, a", "J/(mol K)"),
    "b": ("heat capacity, b", "J/(mol K2)"),
    "c": ("heat capacity, c", "J K/mol"),
    "d": ("heat capacity, d", "J/(mol K3)"),
    "h": ("enthalpy, constant", "J/mol"),
    "s": ("entropy, constant", "J/(mol K)"),
}


def species(*names: str) -> Species:
    """The named substances in that order. Raises DataError with the nearest names for an unknown one."""
    return _species(names) if current() is None else _traced(names)


@remembered()
def _traced(names: tuple[str, ...]) -> Species:
    plain = _species(names)
    atoms = tabulated(plain.composition, "atoms in a molecule", "-", names, kind="formula")
    return replace(plain, composition=atoms, **_known(plain, _TABLES, names))


@remembered()
def _traced_piece(names: tuple[str, ...], k: int) -> Curve:
    plain = _species(names).curves[k]
    return replace(plain, **_known(plain, _CURVES, names))


def _known(node: Any, fields: Mapping[str, tuple[str, str]], names: tuple[str, ...]) -> dict[str, Any]:
    return {
        field: tabulated(getattr(node, field), name, unit, names) for field, (name, unit) in fields.items()
    }


@lru_cache(maxsize=256)
def _species(names: tuple[str, ...]) -> Species:
    substances = [find(name) for name in names]
    formulas = [composition(substance.formula) for substance in substances]
    atoms = np.array([[atoms.get(element, 0.0) for element in ELEMENTS] for atoms in formulas])
    transitions = sorted({segment.T_low for x in substances for segment in x.segments[1:]})
    return Species(
        names=names,
        composition=_fixed(atoms),
        molar_mass=_fixed(atoms @ ATOMIC_MASS),
        H298=_fixed([substance.H298 for substance in substances]),
        reference_enthalpy=_fixed([find(substance.standard_state).H298 for substance in substances]),
        T_low=_fixed([substance.T_low for substance in substances]),
        T_high=_fixed([substance.T_high for substance in substances]),
        transitions=_fixed(transitions),
        curves=tuple(_curves(substances, above) for above in (-np.inf, *transitions)),
    )


def _curves(substances: Sequence[Substance], above: float) -> Curve:
    """Of each substance the last segment that begins at or below ``above`` [K], else its first."""
    segments = [
        [x.segments[0], *(later for later in x.segments[1:] if later.T_low <= above)][-1] for x in substances
    ]
    return Curve(**{field: _fixed([getattr(x.curve, field) for x in segments]) for field in _CURVES})


def _fixed(values: Any) -> Floats:
    """A shared array that nobody may write to."""
    array = np.asarray(values, dtype=np.float64)
    array.flags.writeable = False
    return array


def property_rows(name: str, T: FloatN) -> list[dict[str, Any]]:
    """Properties of one substance at T (N,) [K], one row per temperature.

    Each row: T [K], form, Cp [J/(mol K)], dH = H(T) - H(298.15 K of the standard state) [J/mol], H [J/mol],
    S [J/(mol K)], G [J/mol], out_of_range, source (keys), seen. Raises DataError for an unknown name.
    """
    substance, one = find(name), species(name)
    values = {"Cp": one.heat_capacity(T), "H": one.enthalpy(T), "S": one.entropy(T), "G": one.gibbs(T)}
    rows = []
    for n, temperature in enumerate(T.tolist()):
        segment = substance.segment_at(temperature)
        numbers = {symbol: float(value[n, 0]) for symbol, value in values.items()}
        rows.append(
            {
                "T": temperature,
                "form": segment.form,
                **numbers,
                "dH": numbers["H"] - float(one.reference_enthalpy[0]),
                "out_of_range": bool(one.out_of_range(T)[n, 0]),
                "source": segment.source,
                "seen": segment.seen,
            }
        )
    return rows
