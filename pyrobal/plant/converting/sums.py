"""The columns of a change of the vessel, and the few sums over its substances that the march needs."""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, Floats, zeros
from pyrobal.plant.converting.deportment import FE, phases
from pyrobal.plant.converting.heat import coefficients
from pyrobal.plant.converting.melts import M_FE
from pyrobal.trace.solved import remembered

# The sums, in this order: of what is in the vessel, then of what passes through. Curves are a, b, c, d, h.
CONTENT, SLAG = slice(0, 5), slice(5, 10)  # curve of all in the vessel, and of the slag
HEAT, IRON, MELT, MOLES, SLAG_MASS = range(10, 15)  # [J], [kg] in the bath, [kg] and [mol] of it, [kg]
STANDING = 15  # so many are of the vessel
GAS = slice(15, 20)  # curve of the gas
GAS_MOLES, SO2, O2, BLOWN, SILICA = range(20, 25)  # [mol], the last [kg] in the slag made
COUNT = 25


@functools.lru_cache
def parts() -> dict[str, slice]:
    """Where in a change (N, W) each part stands.

    "bath", "slag", "gas", "dust" [mol] on their S axes; "flux" [kg] dry; "blown" [mol] dry blast; "heat" [J]
    brought, by the blast too, less that of the dust and what the vessel loses while the blast is blown.
    """
    melts = {name: len(phases()[name]) for name in ("bath", "slag", "gas", "dust")}
    widths = melts | {"flux": 1, "blown": 1, "heat": 1}
    ends = np.cumsum(list(widths.values())).tolist()
    return {name: slice(end - width, end) for (name, width), end in zip(widths.items(), ends, strict=True)}


@remembered()
def _summing() -> Floats:
    """(W, 25) : a change times this is its sums."""
    p, at = phases(), parts()
    m = zeros((at["heat"].stop, COUNT), p["bath"].molar_mass)
    bath, slag, gas = (at[name] for name in ("bath", "slag", "gas"))
    m[bath, CONTENT], m[slag, CONTENT], m[slag, SLAG] = (coefficients(x) for x in ("bath", "slag", "slag"))
    m[bath, IRON], m[bath, MELT] = p["bath"].composition[:, FE] * M_FE, p["bath"].molar_mass
    m[bath, MOLES], m[slag, SLAG_MASS] = 1.0, p["slag"].molar_mass
    silica = p["slag"].index("SiO2(l)")
    m[slag.start + silica, SILICA] = p["slag"].molar_mass[silica]
    m[gas, GAS], m[gas, GAS_MOLES] = coefficients("gas"), 1.0
    for name, moles in (("SO2(g)", SO2), ("O2(g)", O2)):
        m[gas.start + p["gas"].index(name), moles] = 1.0
    m[at["blown"], BLOWN] = m[at["heat"], HEAT] = 1.0
    return m


def sums(changes: Sequence[Floats], n: int) -> Floats:
    """(25, K, N) of K changes (N, W); the scenarios come last, as every sum is then one piece of memory."""
    return np.stack([np.broadcast_to(_summing().T @ change.T, (COUNT, n)) for change in changes], axis=1)


def standing(melt: FloatNS, heat: FloatN) -> Floats:
    """(15, N) sums of a melt (N, S) [mol] on the bath axis that brings ``heat`` (N,) [J] to the vessel."""
    of_melt = (melt @ _summing()[parts()["bath"], :STANDING]).T
    total = of_melt + zeros((1, len(heat)), heat)
    total[HEAT] += heat
    return total
