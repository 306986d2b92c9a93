"""How far the heat of the smelting furnace is uncertain because formation enthalpies are.

A formation enthalpy that is off by d [J/mol] makes the furnace's heat account off by d times what is formed
of the compound, out less in. That is a sum of independent errors, so all of them together are one normal
error in watts, and act as so much more or less heat loss. Forms of one compound share the error of its
standard state; what a melt is stated to be off beyond that is its own.

Not in it: equilibrium constants (magnetite and copper in the slag have settings of their own to vary), the
components of fuels (known to a few tenths of a kJ/mol), and steps after the furnace.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.streams.material import WATER_MASS
from pyrobal.streams.mineralogy import MineralFit
from pyrobal.streams.mixing import cold
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species
from pyrobal.thermo.tables import find


def heat_error(results: Results) -> FloatN:
    """(N,) [W] standard deviation of the furnace's heat account from the stated uncertainties of H298."""
    squares = [error**2 for error in contributions(results).values()]
    return np.sqrt(np.sum(np.broadcast_arrays(*squares), axis=0))


def contributions(results: Results) -> dict[str, FloatN]:
    """Compound, by its standard state -> (N,) [W] its part of that standard deviation."""
    made = formed(results)
    families: dict[str, list[str]] = {}
    for name in made:
        families.setdefault(find(name).standard_state, []).append(name)
    parts = {}
    for standard, names in families.items():
        shared = find(standard).uncertainty
        variance = (sum(made[name] for name in names) * shared) ** 2
        for name in names:
            own = max(find(name).uncertainty ** 2 - shared**2, 0.0)
            variance = variance + made[name] ** 2 * own
        parts[standard] = np.sqrt(variance)
    return parts


def formed(results: Results) -> dict[str, FloatN]:
    """Compound -> (N,) [mol/s] that the furnace makes of it, out less in; negative where it is used up."""
    s = results.smelting
    made: dict[str, FloatN] = {}
    for sign, streams in ((-1.0, _entering(results)), (1.0, (s.matte, s.slag, s.gas, s.dust))):
        for stream in streams:
            for name, amount in zip(stream.phase.names, stream.n.T, strict=True):
                made[name] = made.get(name, np.zeros(1)) + sign * amount
    return made


def _entering(results: Results) -> Iterator[Stream]:
    """Everything the furnace is given but fuel, as compounds."""
    s, inputs = results.smelting, results.inputs
    yield from (results.dryer or results.feed).concentrates.values()
    for revert in inputs.revert:
        if revert.to == "smelting":
            yield _solids(results.feed.fits[f"revert.{revert.name}"], revert.rate, revert.moisture)
    for name, rate in (("silica", s.unknowns.silica), ("lime", s.unknowns.lime)):
        if name in inputs.flux:
            yield _solids(results.feed.fits[f"flux.{name}"], rate, inputs.flux[name].moisture)
    yield from (results.circuit.back[name] for name in results.charge.returns)
    yield from (s.blast, s.leak, s.dust_returned)
    yield s.matte.scaled(s.heat.cold_charge / (1.0 + s.heat.cold_charge))


def _solids(fit: MineralFit, rate: FloatN, moisture: FloatN) -> Stream:
    """Minerals and moisture of ``rate`` (N,) [kg/s] dry solids."""
    water = moisture / (1.0 - moisture) / WATER_MASS
    per_kilogram = [*(fit.x / fit.phase.molar_mass).T, water]
    n = np.stack(np.broadcast_arrays(*(x * rate for x in per_kilogram)), axis=1)
    return Stream(species(*fit.phase.names, "H2O(l)"), n, cold())
