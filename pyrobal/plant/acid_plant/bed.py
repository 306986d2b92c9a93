"""One catalyst bed: SO2 + 1/2 O2 = SO3 up the adiabatic line to equilibrium, or to an approach to it.

Beds are passed by the few amounts that matter to them, for every moment of a cycle at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats, IntN, finite, take, zeros
from pyrobal.constants import JOULE_PER_MOLE, KELVIN, P_STANDARD, R
from pyrobal.numerics.newton import newton
from pyrobal.streams.stream import Stream
from pyrobal.thermo.content import Content, content
from pyrobal.thermo.properties import Species, species

SO2, O2, SO3 = "SO2(g)", "O2(g)", "SO3(g)"
_NU = np.array([[-1.0, -0.5, 1.0]])  # of SO2, O2, SO3 per mole of SO2 oxidised
_RISE = 100.0 * KELVIN  # per unit of the temperature unknown
_HEAT = 3000.0 * JOULE_PER_MOLE  # per mole of gas and _RISE, makes the heat row order one


def log_equilibrium(T: FloatN) -> FloatN:
    """ln K (N,) of SO2 + 1/2 O2 = SO3 with pressures in bar: ln K = -dG / (R T), from the tables."""
    curve = _reaction(len(T)).at(T)
    ln_k: FloatN = curve.entropy(T) / R - curve.enthalpy(T) / (R * T)
    return ln_k


def _reaction(rows: int) -> Content:
    """Heat and entropy of the reaction, per mole of SO2."""
    one = content(species(SO2, O2, SO3), _NU)
    return Content(one.edges, np.broadcast_to(one.pieces, (rows, *one.pieces.shape[1:])))


def stoichiometry(phase: Species) -> Floats:
    """(S,) moles made per mole of SO2 oxidised."""
    nu = np.zeros(len(phase))
    nu[[phase.index(SO2), phase.index(O2), phase.index(SO3)]] = _NU[0]
    return nu


@dataclass(frozen=True, eq=False)
class BedGas:
    """What a bed sees of a gas: so2, o2, so3, total : (N,) [mol/s], and its heat content."""

    so2: FloatN
    o2: FloatN
    so3: FloatN
    total: FloatN
    content: Content

    @staticmethod
    def of(gas: Stream) -> BedGas:
        """Of a stream; SO2, O2 and SO3 need not be among its species."""
        so2, o2, so3 = (gas.amount(name) for name in (SO2, O2, SO3))
        return BedGas(so2, o2, so3, gas.total(), content(gas.phase, gas.n))

    @property
    def most(self) -> FloatN:
        """(N,) [mol/s] SO2 that could be oxidised, by SO2 or by oxygen."""
        most: FloatN = np.minimum(self.so2, 2.0 * self.o2)
        return most

    def oxidised(self, x: FloatN) -> BedGas:
        """The gas when x (N,) [mol/s] of its SO2 are SO3."""
        held = self.content + _reaction(len(x)).scaled(x)
        return BedGas(self.so2 - x, self.o2 - 0.5 * x, self.so3 + x, self.total - 0.5 * x, held)

    def without(self, taken: Stream) -> BedGas:
        """The gas when what was ``taken`` of it, no SO2 or oxygen, has gone."""
        held = self.content + content(taken.phase, -taken.n)
        return replace(self, so3=self.so3 - taken.amount(SO3), total=self.total - taken.total(), content=held)

    def log_quotient(self, pressure: FloatN) -> FloatN:
        """(N,) ln [ p_SO3 / (p_SO2 p_O2^0.5) ] with pressures in bar."""
        return _log_quotient(self.so2, self.o2, self.so3, self.total, pressure)


@dataclass(frozen=True, eq=False)
class Reacted:
    """What happened in one bed.

    oxidised : (N,) [mol/s] SO2; T : (N,) [K] of the gas leaving
    idle : (N,) True where the gas entered at or beyond its equilibrium, or without SO2 or oxygen
    converged : (N,)
    """

    oxidised: FloatN
    T: FloatN
    idle: BoolN
    converged: BoolN


@dataclass(frozen=True, eq=False)
class _Line:
    """Equilibrium on the adiabatic line; implements ``numerics.newton.Problem``.

    T, pressure, approach : (N,) [K], [Pa], [K]; heat : (N,) [W] enthalpy entering
    """

    gas: BedGas
    T: FloatN
    pressure: FloatN
    approach: FloatN
    heat: FloatN

    def take(self, rows: slice | IntN) -> _Line:
        """The line of some of the scenarios."""
        part: _Line = take(self, rows)
        return part

    def state(self, z: Floats) -> tuple[FloatN, FloatN]:
        """SO2 oxidised [mol/s] and temperature [K]; z is the logit of the share of ``most``, and the rise."""
        return self.gas.most / (1.0 + np.exp(-z[:, 0])), self.T + _RISE * z[:, 1]

    def residual(self, z: Floats) -> Floats:
        """Equilibrium at the outlet plus the approach; enthalpy in equals enthalpy out."""
        gas, most = self.gas, self.gas.most
        oxidised, T = self.state(z)
        left = most / (1.0 + np.exp(z[:, 0]))  # of most: exact where little is left
        so2_left, o2_left = gas.so2 - most + left, gas.o2 - 0.5 * most + 0.5 * left
        total = gas.total - 0.5 * oxidised
        quotient = _log_quotient(so2_left, o2_left, gas.so3 + oxidised, total, self.pressure)
        out = gas.content.at(T).enthalpy(T) + oxidised * _reaction(len(T)).at(T).enthalpy(T)
        return np.stack(
            [quotient - log_equilibrium(T + self.approach), (self.heat - out) / (gas.total * _HEAT)], axis=1
        )


def _log_quotient(so2: FloatN, o2: FloatN, so3: FloatN, total: FloatN, pressure: FloatN) -> FloatN:
    return np.log(so3 / so2) - 0.5 * np.log(o2 / total * pressure / P_STANDARD)


def pass_bed(gas: BedGas, T: FloatN, pressure: FloatN, approach: FloatN, lit: FloatN) -> Reacted:
    """Oxidise SO2 adiabatically until K(T_out + approach) equals the pressure quotient.

    T, pressure, approach : (N,) [K], [Pa], [K]
    lit : (N,) share of the gas that meets catalyst hot enough to work; the rest passes and mixes with it

    A gas that enters at or beyond that equilibrium passes unchanged (no SO3 is split) and is marked idle.
    Davenport & King 2006, Sulfuric Acid Manufacture, the chapters on equilibrium curve and heat-up path.
    """
    T, p, a, lit = (np.broadcast_to(x, gas.so2.shape).copy() for x in (T, pressure, approach, lit))
    most = gas.most
    with np.errstate(all="ignore"):
        active = (most > 0) & ~(gas.log_quotient(p) >= log_equilibrium(T + a))
    oxidised = zeros(most.shape, most, T, p, a, lit) + np.where(np.isfinite(most), 0.0, np.nan)
    T_out = T + zeros(most.shape, oxidised)
    converged = finite(most, T, p, a, lit)
    rows = np.flatnonzero(active & (lit.real > 0.0))
    if rows.size:
        heat = gas.content.at(T).enthalpy(T)
        part = _Line(gas, T, p, a, heat).take(rows)
        roots = newton(part, np.tile([0.0, 1.0], (rows.size, 1)), longest_step=3.0)
        oxidised[rows], T_out[rows] = part.state(roots.z)
        converged[rows] = roots.converged
    partly = np.flatnonzero(active & (lit.real > 0.0) & (lit.real < 1.0))
    if partly.size:
        oxidised[partly] *= lit[partly]
        T_out[partly] = _mixed(take(gas, partly), T[partly], oxidised[partly], T_out[partly])
    return Reacted(oxidised, T_out, ~active, converged)


def _mixed(gas: BedGas, T: FloatN, oxidised: FloatN, guess: FloatN) -> FloatN:
    """Temperature (N,) [K] of a gas that entered at T, so much of it oxidised."""
    return gas.oxidised(oxidised).content.temperature(gas.content.at(T).enthalpy(T), guess)
