"""Off-gas with what it carries, the pieces of plant it passes, and the temperature it comes to."""

from __future__ import annotations

import functools
import operator
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, IntN, column
from pyrobal.constants import KELVIN
from pyrobal.errors import Reason
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.mixing import on_phase, temperature
from pyrobal.streams.site import SiteSettings, air_humidity, air_species, moist_air
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import Species, species

COLDEST = 200.0 * KELVIN  # below any air
SETTLED = 1e-6 * KELVIN  # a temperature that closes the heat this well is found


@dataclass(frozen=True, eq=False)
class Offgas:
    """A gas and what it carries, at one temperature.

    gas : on the axis of the whole train
    carried : dust; behind the quench, acid mist and fume
    """

    gas: Stream
    carried: Stream

    @property
    def T(self) -> FloatN:
        """(N,) [K]."""
        return self.gas.T

    @property
    def names(self) -> tuple[str, ...]:
        """Every substance on its two axes."""
        return (*self.gas.phase.names, *self.carried.phase.names)

    def enthalpy(self) -> FloatN:
        """(N,) [W], elements at 298.15 K as zero."""
        return self.gas.enthalpy() + self.carried.enthalpy()

    def at(self, T: FloatN) -> Offgas:
        """The same at T (N,) [K]."""
        return Offgas(Stream(self.gas.phase, self.gas.n, T), Stream(self.carried.phase, self.carried.n, T))

    def with_air(self, air: Stream) -> Offgas:
        """The same with air mixed in, the temperature not yet changed."""
        phase = self.gas.phase
        return Offgas(Stream(phase, self.gas.n + on_phase(air, phase), self.T), self.carried)

    @functools.cached_property
    def entries(self) -> dict[str, Entry]:
        """For a ledger: the outlet of one piece is the inlet of the next."""
        return {"gas": Entry.of(self.gas), "carried": Entry.of(self.carried)}


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of plant after it has done its work.

    outlet : off-gas leaving
    ledger : every stream in and out; "gas" and "carried" go from piece to piece, the rest is from outside
    caught : dust or liquor that leaves the gas here, None where nothing does
    reason : (N,) errors.Reason
    """

    outlet: Offgas
    ledger: Ledger
    caught: Stream | None
    reason: IntN


def air(dry_flow: FloatN, site: SiteSettings) -> Stream:
    """Ambient air with ``dry_flow`` (N,) [mol/s] of dry gas."""
    return Stream(air_species(), moist_air(dry_flow, air_humidity(site)), site.air_temperature)


def settle(offgas: Offgas, enthalpy: FloatN) -> tuple[Offgas, FloatN]:
    """The off-gas at the temperature at which it holds ``enthalpy`` (N,) [W], and the heat left over.

    The heat left over is zero but where the dust is just melting or changing its crystals: the tables
    know no dust that is partly molten, so the latent heat it has taken up stands beside it.
    """
    both = species(*offgas.names)
    rows = max(len(offgas.gas.n), len(offgas.carried.n), len(enthalpy))
    parts = (np.broadcast_to(n, (rows, n.shape[1])) for n in (offgas.gas.n, offgas.carried.n))
    n = np.concatenate(tuple(parts), axis=1)
    T = temperature(both, n, enthalpy, low=COLDEST)
    T = np.where(n.any(axis=1), T, offgas.T)  # nothing there: nothing to have another temperature
    left = enthalpy - (n * both.enthalpy(T)).sum(axis=1)
    capacity = (n * both.heat_capacity(T)).sum(axis=1)
    return offgas.at(T), np.where(np.abs(left) > SETTLED * capacity, left, 0.0)


def parted(stream: Stream, share: FloatN) -> tuple[Stream, Stream]:
    """``share`` (N,) of a stream, and the rest."""
    taken = stream.n * column(share)
    return Stream(stream.phase, taken, stream.T), Stream(stream.phase, stream.n - taken, stream.T)


def gathered(streams: Iterable[Stream], phase: Species, T: FloatN) -> Stream:
    """Streams put together on one axis, at T (N,) [K]."""
    n = functools.reduce(operator.add, (on_phase(s, phase) for s in streams), np.zeros((1, len(phase))))
    return Stream(phase, n, T)


def first_reason(*reasons: IntN) -> IntN:
    """(N,) the first that is not SOLVED."""
    result = np.array([Reason.SOLVED], dtype=np.int64)
    for reason in reasons:
        result = np.where(result == Reason.SOLVED, reason, result)
    return result


def check(*checks: tuple[BoolN, Reason]) -> IntN:
    """(N,) the reason of the first condition that is broken, SOLVED where none is."""
    return first_reason(*(np.where(broken, why, Reason.SOLVED).astype(np.int64) for broken, why in checks))


def unsettled(offgas: Offgas) -> IntN:
    """(N,) NOT_CONVERGED where no temperature was found."""
    return check((~np.isfinite(offgas.T), Reason.NOT_CONVERGED))
