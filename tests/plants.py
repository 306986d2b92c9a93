"""Small invented plants that tests share."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from pyrobal.flowsheet.inputs import Inputs
from pyrobal.plant.feed import ConcentrateSettings, FluxSettings
from pyrobal.plant.smelting import SmeltingSettings
from pyrobal.streams.mineralogy import MINERALS
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS, composition

ORDINARY = {
    "Cu": 0.27, "Fe": 0.28, "S": 0.32, "SiO2": 0.06, "Al2O3": 0.015, "CaO": 0.005, "MgO": 0.004, "As": 0.002,
    "Sb": 3e-4, "Bi": 2e-4, "Pb": 0.004, "Zn": 0.009, "Ni": 5e-4, "Co": 2e-4, "Mo": 4e-4, "Se": 1e-4, "Te": 2e-5,
    "Au": 8e-6, "Ag": 9e-5, "K2O": 0.002, "Na2O": 0.001,
    "Hg": 5e-6, "Cl": 2e-4, "F": 3e-4, "Mn": 6e-4, "Cd": 8e-5, "TiO2": 9e-4,
}  # fmt: skip
SAND = {"SiO2": 0.94, "Al2O3": 0.02, "Fe": 0.01}
# Nothing lost, nothing suspended or dissolved: the furnace of pure stoichiometry.
IDEAL = {
    "slag_magnetite": 0.0, "slag_copper": 0.0, "slag_sulfur": 0.0, "matte_oxygen": 0.0,
    "slag_entrained_copper": 0.0, "dust": 0.0, "oxygen_efficiency": 1.0, "air_in_leakage": 0.0,
}  # fmt: skip


def arrays(values: dict[str, Any]) -> dict[str, Any]:
    """Numbers and lists as scenario arrays; words as they are."""
    return {
        k: v if isinstance(v, str | dict) else np.atleast_1d(np.asarray(v, dtype=float))
        for k, v in values.items()
    }


def plant(
    assay: dict[str, Any] = ORDINARY, rate: Any = 30.0, flux: dict[str, float] | None = SAND, **smelting: Any
) -> Inputs:
    """One concentrate, one furnace. ``rate`` in kg/s of dry concentrate; settings of the furnace in SI."""
    concentrate = ConcentrateSettings(
        name="Alder",
        rate=np.atleast_1d(np.asarray(rate, dtype=float)),
        moisture=np.array([0.002]),
        assay=arrays(assay),
    )
    fluxes = {"silica": FluxSettings(assay=arrays(flux))} if flux else {}
    return Inputs(
        "test",
        (concentrate,),
        flux=fluxes,
        smelting=dataclasses.replace(SmeltingSettings(), **arrays(smelting)),
    )


def mineral_assay(minerals: dict[str, float]) -> dict[str, float]:
    """The exact assay of a mixture of minerals (trade names, mass fractions); silicon as SiO2."""
    assay: dict[str, float] = {}
    for name, share in minerals.items():
        parts = {e: n * ATOMIC_MASS[ELEMENTS.index(e)] for e, n in composition(MINERALS[name]).items()}
        for element, mass in parts.items():
            key = "SiO2" if element == "Si" else element
            if element != "O":
                part = 1.0 if element == "Si" else mass / sum(parts.values())
                assay[key] = assay.get(key, 0.0) + share * part
    return assay


def random_plants(n: int, seed: int, own_assays: bool = True) -> Inputs:
    """``n`` furnaces with blends, targets, blast and temperatures drawn over the usual ranges.

    own_assays : every scenario has assays of its own; else all blend the same three concentrates, each at a
        rate of its own
    """
    rng = np.random.default_rng(seed)
    assay: dict[str, Any] = dict(ORDINARY)
    if own_assays:
        assay = {k: v * rng.uniform(0.7, 1.1, n) for k, v in ORDINARY.items()}
        assay["Cu"], assay["Fe"] = rng.uniform(0.22, 0.33, n), rng.uniform(0.22, 0.29, n)
        assay["S"] = np.minimum(0.504 * assay["Cu"] + rng.uniform(0.13, 0.17, n), 0.34)
    inputs = plant(
        assay,
        rate=rng.uniform(5, 60, n),
        matte_grade=rng.uniform(0.45, 0.75, n),
        enrichment=rng.uniform(0.25, 0.92, n),
        fe_sio2=rng.uniform(0.9, 2.0, n),
        matte_temperature=rng.uniform(1450, 1540, n),
        slag_temperature=rng.uniform(1480, 1600, n),
        gas_temperature=rng.uniform(1520, 1680, n),
        oxygen_efficiency=rng.uniform(0.9, 1.0, n),
        dust=rng.uniform(0, 0.12, n),
        dust_return=rng.uniform(0, 1, n),
        air_in_leakage=rng.uniform(0, 0.3, n),
        heat_loss=rng.uniform(1e6, 3e7, n),
        fuel_minimum=rng.uniform(0, 2e6, n),
    )
    if own_assays:
        return inputs
    others = (("Birch", {"Cu": 0.31, "Fe": 0.24, "S": 0.29}), ("Cedar", {"Cu": 0.22, "Fe": 0.29, "S": 0.35}))
    more = tuple(
        dataclasses.replace(
            inputs.concentrate[0],
            name=name,
            rate=rng.uniform(0, 30, n),
            assay={**inputs.concentrate[0].assay, **arrays(part)},
        )
        for name, part in others
    )
    return dataclasses.replace(inputs, concentrate=(*inputs.concentrate, *more))
