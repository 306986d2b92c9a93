"""The one path through the plant, the steps in the order the material meets them."""

from __future__ import annotations

import functools
import operator
from collections.abc import Mapping

import numpy as np

from pyrobal.arrays import IntN
from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.plant import dryer, feed, smelting
from pyrobal.streams.fuel import Fuel, default_fuels, fuel
from pyrobal.streams.material import Material
from pyrobal.streams.stream import Stream


def solve(inputs: Inputs) -> Results:
    """Balance the plant for every scenario of ``inputs``.

    Raises ValueError where settings disagree on the number of scenarios or name a fuel that is not there.
    """
    n = inputs.scenarios
    fed = feed.solve(inputs.concentrate, inputs.charge, inputs.flux, inputs.revert)
    dried = None
    blend: Mapping[str, Stream] = fed.concentrates
    if inputs.dryer is not None:
        burner = fuel_named(inputs, inputs.dryer.fuel)
        dried = dryer.solve(blend, inputs.charge.moisture_after_drying, inputs.site, inputs.dryer, burner)
        blend = dried.concentrates
    charge = _charge(fed, blend)
    furnace_fuel = fuel_named(inputs, inputs.smelting.fuel)
    smelted = smelting.solve(charge, inputs.site, inputs.smelting, furnace_fuel)
    return Results(
        inputs,
        fed,
        dried,
        charge,
        furnace_fuel,
        smelted,
        _first(n, _finite(inputs), fed.reason, smelted.reason),
    )


def fuel_named(inputs: Inputs, name: str) -> Fuel:
    """One of the case's fuels, or of the built-in ones."""
    fuels = {**default_fuels(), **inputs.fuel}
    if name not in fuels:
        raise ValueError(f"no [fuel.{name}] in the case; there is {', '.join(fuels)}")
    return fuel(fuels[name])


def _charge(fed: feed.FeedResult, blend: Mapping[str, Stream]) -> smelting.Charge:
    materials = [Material.of(stream) for stream in blend.values()]
    materials += [fed.reverts["smelting"]] if "smelting" in fed.reverts else []
    return smelting.Charge(
        functools.reduce(operator.add, materials),
        fed.dry_rate,
        fed.fluxes.get("silica"),
        fed.fluxes.get("lime"),
    )


def _finite(inputs: Inputs) -> IntN:
    return np.where(inputs.finite(), Reason.SOLVED, Reason.INPUT_NOT_FINITE)


def _first(n: int, *reasons: IntN) -> IntN:
    """(N,) the first reason that is not SOLVED, in plant order."""
    result = np.zeros(n, dtype=np.int64)
    for reason in reasons:
        result = np.where(result == Reason.SOLVED, reason, result)
    return result
