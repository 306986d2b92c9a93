"""Electrorefining, the hand-over: anodes to cathode, slimes, electrolyte and scrap, current and energy.

The tank house itself (temperature, steam, bleed treatment) is not modelled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, IntN
from pyrobal.constants import FARADAY, PERCENT
from pyrobal.errors import Reason
from pyrobal.fields import choice, quantity, table
from pyrobal.streams.deportment import read_table, share_out, shares
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.mixing import gone_cold
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS_OF
from pyrobal.thermo.properties import Species, species
from pyrobal.trace.solved import remembered

_M_CU = ATOMIC_MASS_OF["Cu"]
_ELECTRONS = 2  # Cu2+ + 2 e- = Cu
_METALS = ("Fe", "As", "Sb", "Bi", "Pb", "Zn", "Cd", "Ni", "Co", "Se", "Te", "Au", "Ag")


@dataclass(frozen=True, kw_only=True)
class ElectrorefiningSettings:
    """The tank house in a few figures. Defaults are common practice."""

    current_efficiency: FloatN = quantity(
        "%", "copper deposited, of what the current would deposit", default=0.95, low=0.3, high=1.0
    )
    cell_voltage: FloatN = quantity("V", "one cell, with its contacts", default=0.30, low=0.05, high=2.0)
    current_density: FloatN = quantity(
        "A/m2", "current per cathode area, both faces counted", default=310.0, low=50.0, high=1000.0
    )
    rectifier_efficiency: FloatN = quantity(
        "%", "direct current power, of that drawn from the grid", default=0.97, low=0.5, high=1.0
    )
    anode_scrap: FloatN = quantity(
        "%", "anode left when the anodes are drawn, of the anode charged", default=0.15, low=0.0, high=0.6
    )
    scrap_to: str = choice(
        "where anode scrap is melted", ("converting", "anode_furnace"), default="anode_furnace"
    )
    slimes_copper: FloatN = quantity(
        "wt%", "copper in the dry slimes, before any leaching", default=20 * PERCENT, low=0.0, high=0.8
    )
    deportment: dict[str, dict[str, FloatN]] = table(
        "share of an element to cathode, slimes and electrolyte; overrides the table", "deportment"
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class ElectrorefiningResult:
    """One balance per scenario, the mean over time; all streams cold.

    anodes : as charged; cathode, slimes (dry), scrap
    electrolyte : what dissolves and is not deposited; copper and oxygen as CuO, in fact sulfate and water
    current : (N,) [A] through one cell if all cathode were made in it; power : (N,) [W] from the grid
    """

    settings: ElectrorefiningSettings
    anodes: Stream
    cathode: Stream
    slimes: Stream
    electrolyte: Stream
    scrap: Stream
    current: FloatN
    power: FloatN
    ledger: Ledger
    reason: IntN

    @property
    def cathode_area(self) -> FloatN:
        """(N,) [m2] of cathode, both faces."""
        return self.current / self.settings.current_density

    @property
    def energy_per_mass(self) -> FloatN:
        """(N,) [J/kg] from the grid per mass of cathode."""
        return self.power / self.cathode.mass()


@remembered()
def _carriers() -> Mapping[str, tuple[Species, Mapping[str, str]]]:
    metals = {element: element for element in _METALS}
    return {
        "cathode": (species("Cu", *_METALS), metals),
        "slimes": (species("Cu", "Cu2S", *_METALS), metals),
        "electrolyte": (species("CuO", *_METALS), metals),
    }


def solve(anodes: Stream, s: ElectrorefiningSettings) -> ElectrorefiningResult:
    """Dissolve the anodes but for their scrap and deposit the copper.

    Faraday: current = 2 F n(Cu) / current efficiency, power = current x cell voltage.
    Oxygen in the anode is Cu2O, which the acid dissolves to Cu2+ and copper: one Cu to the electrolyte per O.
    Sulfur stays in the slimes as Cu2S. Slimes are made up to their copper.
    """
    anodes = gone_cold(anodes)
    scrap, dissolved = anodes.scaled(s.anode_scrap), anodes.scaled(1.0 - s.anode_scrap)
    minor = share_out(dissolved.elements(), shares(read_table("electrorefining"), s.deportment), _carriers())
    oxygen, sulfur = dissolved.element("O"), dissolved.element("S")
    in_slimes = np.maximum(_slimes_copper(minor["slimes"], sulfur, s.slimes_copper), 2 * sulfur)
    deposited = dissolved.element("Cu") - in_slimes - oxygen
    cathode = _stream("cathode", minor, anodes.T, deposited)
    slimes = _stream("slimes", minor, anodes.T, in_slimes - 2 * sulfur, sulfur)
    electrolyte = _stream("electrolyte", minor, anodes.T, oxygen)
    current = _ELECTRONS * FARADAY * deposited / s.current_efficiency
    direct = current * s.cell_voltage
    leaving = {"cathode": cathode, "slimes": slimes, "electrolyte": electrolyte, "scrap": scrap}
    ledger = _ledger(anodes, leaving, direct)
    finite = np.isfinite(current) & (deposited > 0)
    return ElectrorefiningResult(
        settings=s,
        anodes=anodes,
        **leaving,
        current=current,
        power=direct / s.rectifier_efficiency,
        ledger=ledger,
        reason=np.where(finite, Reason.SOLVED, Reason.INPUT_NOT_FINITE).astype(np.int64),
    )


def _slimes_copper(minor: FloatNS, sulfur: FloatN, share: FloatN) -> FloatN:
    """Copper (N,) [mol/s] that makes up ``share`` (N,) [kg/kg] of the slimes."""
    phase = _carriers()["slimes"][0]
    other = minor @ phase.molar_mass + sulfur * ATOMIC_MASS_OF["S"]
    copper: FloatN = share / (1.0 - share) * other / _M_CU
    return copper


def _stream(outlet: str, minor: Mapping[str, FloatNS], T: FloatN, *solved: FloatN) -> Stream:
    """The minor elements of an outlet with the solved species, which stand first on its axis."""
    phase, rest = _carriers()[outlet][0], minor[outlet].T
    first = (*solved, *np.zeros((len(rest) - len(solved), 1)))
    n = np.stack(np.broadcast_arrays(*(a + b for a, b in zip(first, rest, strict=True))), axis=1)
    return Stream(phase, n, T)


def _ledger(anodes: Stream, leaving: Mapping[str, Stream], direct: FloatN) -> Ledger:
    """Elements close by themselves; the heat that the cells give off is what is left of the power."""
    inputs = {"anodes": Entry.of(anodes)}
    outputs = {name: Entry.of(stream) for name, stream in leaving.items()}
    chemical = anodes.enthalpy() - sum((x.enthalpy() for x in leaving.values()), np.zeros(1))
    return Ledger(inputs, outputs, {"power": -direct, "cells": direct + chemical})
