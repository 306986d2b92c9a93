"""The ledger of one step: every stream in and out by name, and what does not close.

Conservation is read off the streams themselves, not off the equations that made them, so a slip in a
step shows here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, column, total
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ELEMENTS


@dataclass(frozen=True, eq=False)
class Entry:
    """One stream in the ledger, in mol/s and W; of a flux, a fuel or a batch in mol and J of one of it.

    elements : (N, E)
    enthalpy : (N,) elements at 298.15 K as zero
    formation : (N,) the same compounds in their standard states at 25 degC
    """

    elements: FloatNE
    enthalpy: FloatN
    formation: FloatN

    @property
    def sensible(self) -> FloatN:
        """(N,) [W] above 25 degC."""
        return self.enthalpy - self.formation

    @staticmethod
    def of(stream: Stream) -> Entry:
        """The entry of a stream."""
        return Entry(stream.elements(), stream.enthalpy(), stream.formation_heat())

    def scaled(self, factor: FloatN) -> Entry:
        """``factor`` (N,) times as much."""
        return Entry(self.elements * column(factor), self.enthalpy * factor, self.formation * factor)

    def __add__(self, other: Entry) -> Entry:
        return Entry(
            self.elements + other.elements,
            self.enthalpy + other.enthalpy,
            self.formation + other.formation,
        )

    def __sub__(self, other: Entry) -> Entry:
        return Entry(
            self.elements - other.elements,
            self.enthalpy - other.enthalpy,
            self.formation - other.formation,
        )


@dataclass(frozen=True, eq=False)
class Ledger:
    """Streams in, streams out, and heat given off without matter (losses, surplus; cooling positive).

    inputs, outputs : name -> Entry
    heat_out : name -> (N,) [W]
    """

    inputs: Mapping[str, Entry]
    outputs: Mapping[str, Entry]
    heat_out: Mapping[str, FloatN] = field(default_factory=dict)

    def elements_in(self) -> FloatNE:
        """(N, E) [mol/s]."""
        return total(entry.elements for entry in self.inputs.values())

    def elements_out(self) -> FloatNE:
        """(N, E) [mol/s]."""
        return total(entry.elements for entry in self.outputs.values())

    def element_closure(self) -> FloatNE:
        """(N, E) [-]: (out - in) / in, zero where the element is absent on both sides."""
        inflow, outflow = self.elements_in(), self.elements_out()
        scale = np.maximum(np.abs(inflow), np.abs(outflow))
        return np.divide(outflow - inflow, scale, out=np.zeros_like(outflow - inflow), where=scale > 0)

    def closure(self, element: str) -> FloatN:
        """(N,) [-] of one element."""
        return self.element_closure()[:, ELEMENTS.index(element)]

    def reaction_heat(self) -> FloatN:
        """(N,) [W] released at 25 degC: formation heat of what comes in less that of what leaves."""
        return total(e.formation for e in self.inputs.values()) - total(
            e.formation for e in self.outputs.values()
        )

    def heat_total(self) -> FloatN:
        """(N,) [W]: reaction heat plus the sensible heat that comes in."""
        return self.reaction_heat() + total(e.sensible for e in self.inputs.values())

    def heat_closure(self) -> FloatN:
        """(N,) [-]: heat in less heat out, over heat turned over."""
        out = total(e.sensible for e in self.outputs.values()) + total(self.heat_out.values())
        turnover = total(np.abs(e.sensible) for e in (*self.inputs.values(), *self.outputs.values()))
        return (self.heat_total() - out) / (turnover + np.abs(self.reaction_heat()))
