"""One catalyst bed: SO2 + 1/2 O2 = SO3 up the adiabatic line to equilibrium, or to an approach to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNS, Floats, IntN, column, take, zeros
from pyrobal.constants import P_STANDARD, R
from pyrobal.numerics.newton import newton
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import Species, species

SO2, O2, SO3 = "SO2(g)", "O2(g)", "SO3(g)"
_RISE = 100.0  # K per unit of the temperature unknown
_HEAT = 3000.0  # J per mole of gas and _RISE, makes the heat row order one


def log_equilibrium(T: FloatN) -> FloatN:
    """ln K (N,) of SO2 + 1/2 O2 = SO3 with pressures in bar: ln K = -dG / (R T), from the tables."""
    g = species(SO2, O2, SO3).gibbs(T)
    ln_k: FloatN = -(g[:, 2] - g[:, 0] - 0.5 * g[:, 1]) / (R * T)
    return ln_k


def stoichiometry(phase: Species) -> Floats:
    """(S,) moles made per mole of SO2 oxidised."""
    nu = np.zeros(len(phase))
    nu[[phase.index(SO2), phase.index(O2), phase.index(SO3)]] = -1.0, -0.5, 1.0
    return nu


@dataclass(frozen=True, eq=False)
class Bed:
    """What happened in one bed.

    inlet, outlet : gas as it enters and leaves
    oxidised : (N,) [mol/s] SO2
    idle : (N,) True where the gas entered at or beyond its equilibrium, or without SO2 or oxygen
    converged : (N,)
    """

    inlet: Stream
    outlet: Stream
    oxidised: FloatN
    idle: BoolN
    converged: BoolN


@dataclass(frozen=True, eq=False)
class _Line:
    """Equilibrium on the adiabatic line; implements ``numerics.newton.Problem``.

    n : (N, S) [mol/s] entering; T, pressure, approach : (N,) [K], [Pa], [K]
    most : (N,) [mol/s] that could be oxidised, by SO2 or by oxygen
    heat : (N,) [W] enthalpy entering
    """

    names: tuple[str, ...]
    n: FloatNS
    T: FloatN
    pressure: FloatN
    approach: FloatN
    most: FloatN
    heat: FloatN

    def take(self, rows: IntN) -> _Line:
        """The line of some of the scenarios."""
        part: _Line = take(self, rows)
        return part

    def state(self, z: Floats) -> tuple[FloatN, FloatN]:
        """SO2 oxidised [mol/s] and temperature [K]; z is the logit of the share of ``most``, and the rise."""
        return self.most / (1.0 + np.exp(-z[:, 0])), self.T + _RISE * z[:, 1]

    def residual(self, z: Floats) -> Floats:
        """Equilibrium at the outlet plus the approach; enthalpy in equals enthalpy out."""
        phase = species(*self.names)
        oxidised, T = self.state(z)
        left = self.most / (1.0 + np.exp(z[:, 0]))  # of most: exact where little is left
        so2, o2, so3 = (self.n[:, phase.index(name)] for name in (SO2, O2, SO3))
        so2_left, o2_left = so2 - self.most + left, o2 - 0.5 * self.most + 0.5 * left
        out, entering = self.n + column(oxidised) * stoichiometry(phase), self.n.sum(axis=1)
        total = entering - 0.5 * oxidised
        quotient = _log_quotient(so2_left, o2_left, so3 + oxidised, total, self.pressure)
        heat = (self.heat - (out * phase.enthalpy(T)).sum(axis=1)) / (entering * _HEAT)
        return np.stack([quotient - log_equilibrium(T + self.approach), heat], axis=1)


def _log_quotient(so2: FloatN, o2: FloatN, so3: FloatN, total: FloatN, pressure: FloatN) -> FloatN:
    """ln [ p_SO3 / (p_SO2 p_O2^0.5) ] with pressures in bar."""
    return np.log(so3 / so2) - 0.5 * np.log(o2 / total * pressure / P_STANDARD)


def pass_bed(gas: Stream, pressure: FloatN, approach: FloatN) -> Bed:
    """Oxidise SO2 adiabatically until K(T_out + approach) equals the pressure quotient.

    gas : entering, SO2, O2 and SO3 among its species; pressure, approach : (N,) [Pa], [K]

    A gas that enters at or beyond that equilibrium passes unchanged (no SO3 is split) and is marked idle.
    Davenport & King 2006, Sulfuric Acid Manufacture, the chapters on equilibrium curve and heat-up path.
    """
    n, T, p, a = (np.array(x) for x in _rows(gas.n, gas.T, pressure, approach))
    phase = gas.phase
    so2, o2, so3 = (n[:, phase.index(name)] for name in (SO2, O2, SO3))
    most = np.minimum(so2, 2.0 * o2)
    with np.errstate(all="ignore"):
        start = _log_quotient(so2, o2, so3, n.sum(axis=1), p)
        active = (most > 0) & ~(start >= log_equilibrium(T + a))
    rows = np.flatnonzero(active)
    oxidised = zeros(most.shape, n, T, p, a) + np.where(np.isfinite(most), 0.0, np.nan)
    T_out = T + zeros(most.shape, n, T, p, a)
    converged = np.isfinite(most + T + p + a)
    line = _Line(phase.names, n, T, p, a, most, (n * phase.enthalpy(T)).sum(axis=1))
    if rows.size:
        part = line.take(rows)
        roots = newton(part, np.tile([0.0, 1.0], (rows.size, 1)), longest_step=3.0)
        oxidised[rows], T_out[rows] = part.state(roots.z)
        converged[rows] = roots.converged
    out = Stream(phase, n + column(oxidised) * stoichiometry(phase), T_out)
    return Bed(Stream(phase, n, T), out, oxidised, ~active, converged)


def _rows(n: FloatNS, *values: FloatN) -> tuple[Floats, ...]:
    """Everything stretched over the scenarios."""
    size = max(len(n), *(len(v) for v in values))
    return (np.broadcast_to(n, (size, n.shape[1])), *(np.broadcast_to(v, (size,)) for v in values))
