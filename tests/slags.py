"""Slags, blister and fuels for the steps behind converting; compositions are invented."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN, FloatNS
from pyrobal.streams.fuel import FuelSettings, default_fuels, fuel
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

SITE = SiteSettings()
GAS = fuel(default_fuels()["natural_gas"])
COKE = fuel(
    FuelSettings(
        composition={
            k: np.array([x])
            for k, x in {
                "C": 0.86, "H": 0.005, "O": 0.005, "N": 0.01, "S": 0.008, "H2O": 0.02, "ash": 0.092
            }.items()
        },
        heating_value=np.array([29.5e6]),
    )
)  # fmt: skip
OIL = fuel(
    FuelSettings(
        composition={k: np.array([x]) for k, x in {"C": 0.865, "H": 0.11, "S": 0.02, "ash": 0.005}.items()},
        heating_value=np.array([40.3e6]),
    )
)

# wt%, to be scaled to a sum of 100
SMELTING_SLAG = {
    "FeO(slag)": 43.0, "Fe3O4(slag)": 9.0, "SiO2(l)": 34.0, "CaO(slag)": 3.0, "Al2O3(l)": 4.0, "MgO(slag)": 1.0,
    "K2O(slag)": 0.4, "Na2O(slag)": 0.3, "Rest(slag)": 0.6, "Cu2O(l)": 0.4, "Cu2S(l)": 1.0, "FeS(l)": 1.2,
    "ZnO(slag)": 1.0, "PbO(l)": 0.3, "CdO(slag)": 0.01, "MnO(slag)": 0.1, "TiO2(slag)": 0.15, "As2O3(slag)": 0.1, "Sb2O3(slag)": 0.03, "Bi2O3(slag)": 0.02,
    "NiO(slag)": 0.03, "CoO(slag)": 0.05, "MoO2(slag)": 0.2, "Ag(l)": 0.002, "Au(l)": 0.0001, "Se(l)": 0.01,
    "Te(l)": 0.003,
}  # fmt: skip
CONVERTING_SLAG = {
    **SMELTING_SLAG, "FeO(slag)": 45.0, "Fe3O4(slag)": 20.0, "SiO2(l)": 24.0, "CaO(slag)": 1.0, "Al2O3(l)": 1.0,
    "Cu2O(l)": 3.0, "Cu2S(l)": 1.5, "FeS(l)": 0.4,
}  # fmt: skip
BLISTER = {
    "Cu2O(l)": 4.5, "Cu2S(l)": 0.15, "Fe(l)": 0.03, "As(l)": 0.1, "Sb(l)": 0.03, "Bi(l)": 0.01, "Pb(l)": 0.06,
    "Zn(l)": 0.01, "Cd(l)": 0.001, "Ni(l)": 0.05, "Co(l)": 0.005, "Se(l)": 0.05, "Te(l)": 0.01, "Au(l)": 0.003, "Ag(l)": 0.05,
    "SiO2(l)": 0.02, "FeO(slag)": 0.05, "CaO(slag)": 0.005, "Rest(slag)": 0.005, "Cu(l)": 94.9,
}  # fmt: skip


def melt(
    percent: dict[str, float], rate: float = 10.0, T: float = 1543.0, **change: float | FloatN
) -> Stream:
    """A stream of ``rate`` [kg/s]; ``change`` replaces entries by their name without brackets and phase."""
    given = percent | {name: change[key] for name in percent if (key := name.split("(")[0]) in change}
    parts = np.stack(np.broadcast_arrays(*(np.atleast_1d(x) for x in given.values())), axis=1)
    return _scaled(tuple(given), parts, np.array([rate]), np.array([T]))


def random_melts(
    percent: dict[str, float], count: int, seed: int, spread: float = 0.4, T: float = 1543.0
) -> Stream:
    """``count`` streams around a composition, each entry off by up to ``spread`` either way."""
    rng = np.random.default_rng(seed)
    around = np.array(list(percent.values())) * rng.uniform(1 - spread, 1 + spread, (count, len(percent)))
    return _scaled(tuple(percent), around, rng.uniform(1.0, 30.0, count), np.full(count, T))


def _scaled(names: tuple[str, ...], parts: FloatNS, rate: FloatNS, T: FloatNS) -> Stream:
    phase = species(*names)
    return Stream(phase, parts / parts.sum(axis=1, keepdims=True) * rate[:, None] / phase.molar_mass, T)
