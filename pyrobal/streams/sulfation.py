"""Oxides of dust that turn to sulfate in cooling gas rich in SO2.

A reaction is a table of moles, products positive, per mole of its first substance; names that end in "(g)"
are in the gas.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pyrobal.arrays import FloatN, Floats, column
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import Species, species
from pyrobal.trace.solved import remembered

SULFATION: tuple[Mapping[str, float], ...] = (
    {"Cu2O": -1.0, "SO2(g)": -2.0, "O2(g)": -1.5, "CuSO4": 2.0},
    {"CuO": -1.0, "SO2(g)": -1.0, "O2(g)": -0.5, "CuSO4": 1.0},
    {"PbO": -1.0, "SO2(g)": -1.0, "O2(g)": -0.5, "PbSO4": 1.0},
    {"ZnO": -1.0, "SO2(g)": -1.0, "O2(g)": -0.5, "ZnSO4": 1.0},
    {"NiO": -1.0, "SO2(g)": -1.0, "O2(g)": -0.5, "NiSO4": 1.0},
    {"CaO": -1.0, "SO2(g)": -1.0, "O2(g)": -0.5, "CaSO4": 1.0},
)


def sulfated(dust: Stream, share: FloatN) -> Stream:
    """The dust with ``share`` (N,) of each such oxide as sulfate; SO2 and O2 for it come from the gas."""
    phase, kept, change = _sulfates(dust.phase.names)
    if len(share) == 1:
        return Stream(phase, dust.n @ (kept + share * change), dust.T)
    return Stream(phase, dust.n @ kept + column(share) * (dust.n @ change), dust.T)


def taken_up(dust: Stream, share: FloatN, T: FloatN) -> Stream:
    """The SO2 and O2 of a gas at ``T`` (N,) [K] that it takes to do so."""
    gases = species("SO2(g)", "O2(g)")
    reactions = {name: r for r in SULFATION if (name := next(iter(r))) in dust.phase.names}
    takes = np.array([[-r[gas] for gas in gases.names] for r in reactions.values()])
    oxides = np.stack([dust.amount(name) for name in reactions], axis=1)
    return Stream(gases, (column(share) * oxides) @ takes, T)


@remembered()
def _sulfates(names: tuple[str, ...]) -> tuple[Species, Floats, Floats]:
    """The S axis with sulfates, and from that of the dust onto it (S, S') what is as it was, and what is made
    where a mole is turned."""
    reactions = [r for r in SULFATION if next(iter(r)) in names]
    solids = [{name: moles for name, moles in r.items() if not name.endswith("(g)")} for r in reactions]
    phase = species(*dict.fromkeys((*names, *(name for solid in solids for name in solid))))
    change = np.zeros((len(names), len(phase)))
    for solid in solids:
        for name, moles in solid.items():
            change[phase.index(next(iter(solid))), phase.index(name)] = moles
    return phase, np.eye(len(names), len(phase)), change
