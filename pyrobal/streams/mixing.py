"""Streams put together, set on another S axis, at the temperature their heat gives, or left to go cold."""

from __future__ import annotations

import functools

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, Floats, zeros
from pyrobal.constants import T_STANDARD
from pyrobal.streams.stream import Stream
from pyrobal.thermo.content import curve_at
from pyrobal.thermo.properties import Species, species
from pyrobal.thermo.tables import find
from pyrobal.trace.graph import paused
from pyrobal.trace.solved import remembered, solved, tabulated

_ROUNDS = 80  # bisection alone would need 50
_CLOSE = 1e-10  # K


def mix(*streams: Stream) -> Stream:
    """All streams as one, at the temperature at which the enthalpies add up.

    The S axis is the union of theirs, in the order met. A single stream comes back as it is.
    """
    if len(streams) == 1:
        return streams[0]
    phase = species(*dict.fromkeys(name for stream in streams for name in stream.phase.names))
    n = functools.reduce(np.add, (on_phase(stream, phase) for stream in streams))
    enthalpy = functools.reduce(np.add, (stream.enthalpy() for stream in streams))
    return Stream(phase, n, temperature(phase, n, enthalpy))


def on_phase(stream: Stream, phase: Species) -> FloatNS:
    """Amounts of a stream on the S axis of ``phase``, (N, S) [mol/s].

    Raises DataError where ``phase`` does not have one of its species.
    """
    n = zeros((len(stream.n), len(phase)), stream.n)
    n[:, [phase.index(name) for name in stream.phase.names]] = stream.n
    return n


def temperature(
    phase: Species, n: FloatNS, enthalpy: FloatN, low: float = 250.0, high: float = 4000.0
) -> FloatN:
    """T (N,) [K] at which ``n`` (N, S) [mol/s] carry ``enthalpy`` (N,) [W].

    Newton kept inside a shrinking bracket: H rises with T, as every heat capacity is positive. nan where
    the answer lies outside ``low`` to ``high`` or there is nothing to carry the heat. Imaginary parts are
    carried over to T to first order, see ``arrays.zeros``. In a trace T is known by the heat.
    """
    with paused():
        T = _search(phase, n, enthalpy, low, high)
    return solved(T, lambda T: _heat(phase, n, T) - enthalpy, "heat balance", "K")


def _search(phase: Species, n: FloatNS, enthalpy: FloatN, low: float, high: float) -> FloatN:
    """The temperature as a number."""
    carried, n, enthalpy = (n, enthalpy), np.real(n), np.real(enthalpy)
    least, most = np.einsum("ns,ts->nt", n, _enthalpies(phase.names, low, high)).T
    inside = (least <= enthalpy) & (enthalpy <= most) & (n.sum(axis=1) > 0)
    a, b = np.full(len(inside), low), np.full(len(inside), high)
    with np.errstate(all="ignore"):  # scenarios without matter are answered by nan below
        T = np.where(inside, low + (high - low) * (enthalpy - least) / (most - least), 0.5 * (low + high))
    live = inside  # a scenario that has its answer is not touched again
    for _ in range(_ROUNDS):
        curve = curve_at(phase, n, T)
        excess = curve.enthalpy(T) - enthalpy
        a, b = np.where(excess < 0, T, a), np.where(excess > 0, T, b)
        with np.errstate(all="ignore"):
            newton = T - excess / curve.heat_capacity(T)
        step = np.where((newton >= a) & (newton <= b), newton, 0.5 * (a + b)) - T
        T = T + np.where(live, step, 0.0)
        live = live & (np.abs(step) > _CLOSE)
        if not live.any():
            break
    T = np.where(inside, T, np.nan)
    if not any(map(np.iscomplexobj, carried)):
        return T
    excess = np.imag(_heat(phase, carried[0], T) - carried[1])
    return T - 1j * excess / (n * phase.heat_capacity(T)).sum(axis=1)


@remembered(maxsize=64)
def _enthalpies(names: tuple[str, ...], *T: float) -> Floats:
    """(N, S) [J/mol] at the temperatures T [K]."""
    return species(*names).enthalpy(np.array(T))


def _heat(phase: Species, n: FloatNS, T: FloatN) -> FloatN:
    heat: FloatN = (n * phase.enthalpy(T)).sum(axis=1)
    return heat


def cold() -> FloatN:
    """(1,) [K] of what has gone cold."""
    return tabulated(np.array([T_STANDARD]), "25 degC", "K", (), T_STANDARD.source)


def gone_cold(stream: Stream) -> Stream:
    """The same compounds in their standard states at 25 degC: a melt that has frozen and cooled.

    No compound is formed on the way, so the heat of a silicate that the melt had formed is given back.
    """
    phase, matrix = _standard_states(stream.phase.names)
    return Stream(phase, stream.n @ matrix, cold())


@remembered(maxsize=64)
def _standard_states(names: tuple[str, ...]) -> tuple[Species, Floats]:
    """The S axis of the standard states, and the (S, S') matrix onto it."""
    states = [find(name).standard_state for name in names]
    phase = species(*dict.fromkeys(states))
    matrix = np.zeros((len(names), len(phase)))
    for row, state in enumerate(states):
        matrix[row, phase.index(state)] = 1.0
    return phase, matrix
