"""What converting is given, per second: matte, cold reverts, fluxes."""

from __future__ import annotations

import functools
import operator
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats, each_array
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.streams.ledger import Entry
from pyrobal.streams.material import Material
from pyrobal.streams.mixing import cold
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ELEMENTS

BLOWS = ("slag_blow", "copper_blow")
Reverts = Mapping[str, Sequence[Material]]
"""Blow -> cold materials charged in it, per second; a continuous converter takes all of them at once."""


@dataclass(frozen=True, eq=False)
class Charge:
    """What comes in.

    matte : as tapped; slag_blow, copper_blow : cold reverts, by the blow they are charged in
    silica, lime : per kilogram of dry flux, where there is one
    """

    matte: Stream
    slag_blow: Entry
    copper_blow: Entry
    silica: Material | None
    lime: Material | None

    @staticmethod
    def of(matte: Stream, reverts: Reverts, silica: Material | None, lime: Material | None) -> Charge:
        """All reverts of a blow as one."""
        none = Entry(np.zeros((1, len(ELEMENTS))), np.zeros(1), np.zeros(1))
        slag_blow, copper_blow = (
            functools.reduce(operator.add, (r.entry for r in reverts.get(blow, ())), none) for blow in BLOWS
        )
        return Charge(matte, slag_blow, copper_blow, silica, lime)

    @property
    def reverts(self) -> Entry:
        """Those of both blows."""
        return self.slag_blow + self.copper_blow

    def ladles(self, drop: FloatN) -> Entry:
        """The matte as it is poured in, colder by ``drop`` (N,) [K]."""
        return Entry.of(Stream(self.matte.phase, self.matte.n, self.matte.T - drop))

    def cold(self) -> Entry:
        """The matte at 25 degC, its compounds in their standard states."""
        entry = Entry.of(Stream(self.matte.phase, self.matte.n, cold()))
        return Entry(entry.elements, entry.formation, entry.formation)

    def finite(self) -> BoolN:
        """(N,) True where every number of the charge is finite."""
        good = np.isfinite(self.matte.n).all(axis=1) & np.isfinite(self.matte.T)
        entries = [self.reverts, *(flux.entry for flux in (self.silica, self.lime) if flux is not None)]
        for e in entries:
            good = good & np.isfinite(e.elements).all(axis=1) & np.isfinite(e.enthalpy)
        return np.asarray(good)

    def scenarios(self, *settings: SiteSettings | ConvertingSettings) -> int:
        """N, the longest scenario axis of charge and settings."""
        lengths = [len(self.matte.n), len(self.matte.T)]

        def note(array: Floats) -> Floats:
            lengths.append(len(array))
            return array

        each_array((self.slag_blow, self.copper_blow, self.silica, self.lime, *settings), note)
        return max(lengths)


def wet(flux: Material | None, dry_rate: FloatN) -> FloatN:
    """(N,) [kg/s] of a flux with its water."""
    return dry_rate if flux is None else dry_rate * (1.0 + flux.water / flux.dry_mass)
