"""Heat content of a mixture as one curve: curves are linear in their coefficients, so amounts add up once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNS, Floats, ratio, zeros
from pyrobal.thermo.curve import Curve
from pyrobal.thermo.properties import Species, species
from pyrobal.trace.graph import paused
from pyrobal.trace.solved import remembered, solved

_FIELDS = ("a", "b", "c", "d", "h", "s")


@dataclass(frozen=True, eq=False)
class Content:
    """One curve per scenario for all of an amount, and per range of temperature.

    edges : [K] the Q - 1 temperatures between the ranges; pieces : (N, Q, 6) coefficients of ``Curve``
    """

    edges: tuple[float, ...]
    pieces: Floats

    def at(self, T: FloatN) -> Curve:
        """The curve that holds at T (N,) [K], its fields (N,)."""
        place = np.searchsorted(self.edges, T.real)
        return Curve(*self.pieces[np.arange(len(self.pieces)), place].T)

    def __add__(self, other: Content) -> Content:
        edges = tuple(sorted({*self.edges, *other.edges}))
        return Content(edges, self._parted(edges) + other._parted(edges))

    def _parted(self, edges: tuple[float, ...]) -> Floats:
        """The pieces for ranges that are parted more finely."""
        if edges == self.edges:
            return self.pieces
        return self.pieces[:, np.searchsorted(self.edges, (*edges, np.inf))]

    def scaled(self, factor: FloatN) -> Content:
        """``factor`` (N,) times as much."""
        return Content(self.edges, factor[:, None, None] * self.pieces)

    def temperature(self, heat: FloatN, guess: FloatN) -> FloatN:
        """T (N,) [K] at which the mixture holds ``heat`` (N,) [W]; Newton, the curves being almost straight.

        ``guess`` stands where there is nothing to hold heat.
        """
        with paused():
            T = guess
            for _ in range(_NEWTON):
                T = T + self._short(heat, T)[0]
        return solved(T, lambda T: self._missing(heat, T, guess), "heat balance", "K")

    def _short(self, heat: FloatN, T: FloatN) -> tuple[FloatN, BoolN]:
        """(N,) [K] that ``heat`` is above that held at T, to first order; and where anything holds heat."""
        curve = self.at(T)
        capacity = curve.heat_capacity(T)
        there = np.asarray(capacity.real > 0)
        return ratio(np.where(there, heat - curve.enthalpy(T), 0.0), capacity), there

    def _missing(self, heat: FloatN, T: FloatN, guess: FloatN) -> FloatN:
        short, there = self._short(heat, T)
        return np.where(there, short, T - guess)


_NEWTON = 5  # quadratic: 100 K away becomes 1e-12 K


def content(phase: Species, n: FloatNS) -> Content:
    """Of amounts n (N, S) [mol/s]; species by species, so that no neighbour changes the last digit."""
    edges, table = _table(phase.names)
    pieces = zeros((len(n), *table.shape[:2]), n)
    for amount, row in zip(n.T, table.transpose(2, 0, 1), strict=True):
        pieces += amount[:, None, None] * row
    return Content(edges, pieces)


def curve_at(phase: Species, n: FloatNS, T: FloatN) -> Curve:
    """The curve of amounts n (N, S) [mol/s] that holds at T (N,) [K], its fields (N,).

    Row by row, in einsum, so that no neighbour changes the last digit.
    """
    place, (_, table) = np.searchsorted(phase.transitions, T.real), _table(phase.names)
    first, *others = set(place.tolist())
    fields = np.einsum("ns,fs->nf", n, table[first])
    for k in others:
        fields = np.where((place == k)[:, None], np.einsum("ns,fs->nf", n, table[k]), fields)
    return Curve(*fields.T)


@remembered(maxsize=64)
def _table(names: tuple[str, ...]) -> tuple[tuple[float, ...], Floats]:
    """The edges, and (Q, 6, S) coefficients of each substance in each range."""
    phase = species(*names)
    fields = [
        np.stack([getattr(curve, f) for f in _FIELDS]) for curve in map(phase.piece, range(len(phase.curves)))
    ]
    table = np.stack(fields)
    table.flags.writeable = False
    return tuple(phase.transitions.tolist()), table
