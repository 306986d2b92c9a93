"""What happens to off-gas and its dust on the way: reactions that go as far as a share or the oxygen allows.

A reaction is a table of moles, products positive, per mole of its first substance. Names that end in "(g)"
are in the gas, all others are carried by it.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping

import numpy as np

from pyrobal.arrays import FloatN, Floats, column
from pyrobal.plant.gas_train.offgas import Offgas
from pyrobal.streams.stream import Stream
from pyrobal.streams.sulfation import SULFATION

Reaction = Mapping[str, float]

TRIOXIDE: Reaction = {"SO2(g)": -1.0, "O2(g)": -0.5, "SO3(g)": 1.0}

BURNING: tuple[Reaction, ...] = (
    {"CO(g)": -1.0, "O2(g)": -0.5, "CO2(g)": 1.0},
    {"H2(g)": -1.0, "O2(g)": -0.5, "H2O(g)": 1.0},
    {"CH4(g)": -1.0, "O2(g)": -2.0, "CO2(g)": 1.0, "H2O(g)": 2.0},
    {"S2(g)": -1.0, "O2(g)": -2.0, "SO2(g)": 2.0},
    {"H2S(g)": -1.0, "O2(g)": -1.5, "SO2(g)": 1.0, "H2O(g)": 1.0},
    {"COS(g)": -1.0, "O2(g)": -1.5, "SO2(g)": 1.0, "CO2(g)": 1.0},
    {"PbS(g)": -1.0, "O2(g)": -1.5, "PbO(g)": 1.0, "SO2(g)": 1.0},
    {"As4(g)": -1.0, "O2(g)": -3.0, "As4O6(g)": 1.0},
    {"As2(g)": -1.0, "O2(g)": -1.5, "As4O6(g)": 0.5},
)

# Vapours of low pressure at a boiler's exit, to the oxide they are found as (tellurium as the element).
CONDENSING: tuple[Reaction, ...] = (
    {"PbO(g)": -1.0, "PbO": 1.0},
    {"Pb(g)": -1.0, "O2(g)": -0.5, "PbO": 1.0},
    {"Zn(g)": -1.0, "O2(g)": -0.5, "ZnO": 1.0},
    {"Cd(g)": -1.0, "O2(g)": -0.5, "CdO": 1.0},
    {"Sb(g)": -1.0, "O2(g)": -0.75, "Sb2O3(dust)": 0.5},
    {"Bi(g)": -1.0, "O2(g)": -0.75, "Bi2O3(dust)": 0.5},
    {"TeO2(g)": -1.0, "Te(l)": 1.0, "O2(g)": 1.0},
)

ARSENIC: Reaction = {"As4O6(g)": -1.0, "As2O3(dust)": 2.0}

# In the quench: SO3 and vapours to what the liquor holds; selenium is reduced by SO2.
WASHING: tuple[Reaction, ...] = (
    {"SO3(g)": -1.0, "H2O(g)": -1.0, "H2SO4(l)": 1.0},
    {"H2SO4(g)": -1.0, "H2SO4(l)": 1.0},
    ARSENIC,
    {"SeO2(g)": -1.0, "SO2(g)": -2.0, "H2O(g)": -2.0, "Se": 1.0, "H2SO4(l)": 2.0},
    {"Hg(g)": -1.0, "Hg": 1.0},
    {"HCl(g)": -1.0, "HCl(aq)": 1.0},
    {"HF(g)": -1.0, "HF(aq)": 1.0},
    *CONDENSING,
)

ALL: tuple[Reaction, ...] = (*BURNING, TRIOXIDE, *CONDENSING, ARSENIC, *SULFATION, *WASHING)


def key(reaction: Reaction) -> str:
    """The substance that a share of a reaction refers to: the first."""
    return next(iter(reaction))


def amount(offgas: Offgas, name: str) -> FloatN:
    """(N,) [mol/s] of a substance in the gas or carried by it; zero where it is not on the axis."""
    return (offgas.gas if name.endswith("(g)") else offgas.carried).amount(name)


def react(stream: Stream, reaction: Reaction, extent: FloatN) -> Stream:
    """A stream after ``extent`` (N,) [mol/s] of a reaction, at the same temperature."""
    numbers = _stoichiometric_numbers(stream.phase.names, tuple(reaction.items()))
    return Stream(stream.phase, stream.n + column(extent) * numbers, stream.T) if numbers.any() else stream


def complete(offgas: Offgas, reactions: Iterable[Reaction], share: FloatN) -> Offgas:
    """The off-gas after ``share`` (N,) of the key substance of each reaction has reacted."""
    for reaction in reactions:
        if key(reaction) in offgas.names:
            extent = share * amount(offgas, key(reaction))
            gas, carried = (react(stream, reaction, extent) for stream in (offgas.gas, offgas.carried))
            offgas = Offgas(gas, carried)
    return offgas


def oxygen(offgas: Offgas, reactions: Iterable[Reaction]) -> FloatN:
    """O2 (N,) [mol/s] that all of the key substances would take."""
    return sum((-r.get("O2(g)", 0.0) * amount(offgas, key(r)) for r in reactions), np.zeros(1))


@functools.lru_cache(maxsize=256)
def _stoichiometric_numbers(names: tuple[str, ...], reaction: tuple[tuple[str, float], ...]) -> Floats:
    """(S,) moles of each substance per mole of reaction."""
    moles = dict(reaction)
    return np.array([moles.get(name, 0.0) for name in names])
