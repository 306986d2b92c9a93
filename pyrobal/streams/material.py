"""A solid material on its way into a furnace: elements, heat and dry mass, whatever its minerals."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.dimensions import constant
from pyrobal.streams.ledger import Entry
from pyrobal.streams.stream import Stream

WATER_MASS = constant(0.0180153, "kg/mol")


@dataclass(frozen=True, eq=False)
class Material:
    """Per second, or per kilogram of dry solids where it is a flux whose rate is still unknown.

    entry : elements and enthalpies, moisture included
    dry_mass, water : (N,) kg/s or kg/kg
    """

    entry: Entry
    dry_mass: FloatN
    water: FloatN

    @staticmethod
    def of(stream: Stream) -> Material:
        """The material of a stream of solids that may carry ``H2O(l)``."""
        water = stream.amount("H2O(l)") * WATER_MASS
        return Material(Entry.of(stream), stream.mass() - water, water)

    def scaled(self, factor: FloatN) -> Material:
        """``factor`` (N,) times as much of it."""
        return Material(self.entry.scaled(factor), self.dry_mass * factor, self.water * factor)

    def __add__(self, other: Material) -> Material:
        return Material(self.entry + other.entry, self.dry_mass + other.dry_mass, self.water + other.water)
