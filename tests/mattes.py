"""Mattes, fluxes and reverts for converting; compositions are invented."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import T_STANDARD, celsius
from pyrobal.streams.material import Material
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS
from pyrobal.thermo.properties import species

SITE = SiteSettings()
TAPPED = celsius(1230)
MATTE = ("Cu2S(l)", "FeS(l)", "Fe3O4(slag)", "PbS(l)", "ZnS(l)", "CdS(l)", "Ni3S2(l)", "Co(l)", "As(l)", "Sb(l)", "Bi(l)",
         "Se(l)", "Te(l)", "Au(l)", "Ag(l)")  # fmt: skip
MINOR = {"PbS(l)": 0.006, "ZnS(l)": 0.008, "CdS(l)": 0.0002, "Ni3S2(l)": 0.001, "Co(l)": 0.0005, "As(l)": 0.002, "Sb(l)": 0.0005,
         "Bi(l)": 0.0003, "Se(l)": 0.0003, "Te(l)": 0.0001, "Au(l)": 2e-5, "Ag(l)": 3e-4}  # fmt: skip
_M_CU = float(ATOMIC_MASS[ELEMENTS.index("Cu")])


def matte(
    grade: FloatN | float = 0.62,
    rate: FloatN | float = 12.0,
    magnetite: FloatN | float = 0.03,
    minors: FloatN | float = 1.0,
    T: FloatN | float = TAPPED,
) -> Stream:
    """Matte of a grade and magnetite [kg/kg], a rate [kg/s], minor elements as a multiple of MINOR, FeS the rest."""
    grade, rate, magnetite, minors, T = np.broadcast_arrays(
        *(np.atleast_1d(x) for x in (grade, rate, magnetite, minors, T))
    )
    phase = species(*MATTE)
    share = {name: minors * x for name, x in MINOR.items()}
    share["Cu2S(l)"] = grade * phase.molar_mass[0] / (2 * _M_CU)
    share["Fe3O4(slag)"] = magnetite
    share["FeS(l)"] = 1.0 - sum(share.values())
    n = np.stack([share[name] / m for name, m in zip(MATTE, phase.molar_mass, strict=True)], axis=1)
    return Stream(phase, n * rate[:, None], T.copy())


def solid(composition: dict[str, float], rate: FloatN | float = 1.0) -> Material:
    """A solid by mass fractions, ``rate`` [kg/s], or one kilogram of it, moisture on top."""
    phase = species(*composition)
    n = np.array(list(composition.values())) / phase.molar_mass
    dry = sum(x for name, x in composition.items() if name != "H2O(l)")
    return Material.of(Stream(phase, np.atleast_1d(rate)[:, None] * n / dry, np.array([T_STANDARD])))


SILICA = solid({"SiO2": 0.93, "Al2O3": 0.03, "Fe2O3": 0.02, "CaO": 0.02, "H2O(l)": 0.03})
PURE_SILICA = solid({"SiO2": 1.0})
LIME = solid({"CaCO3": 0.94, "SiO2": 0.05, "MgO": 0.01, "H2O(l)": 0.01})
SKULLS = {
    "Cu2S": 0.62,
    "FeS": 0.15,
    "Fe3O4": 0.06,
    "Fe2SiO4": 0.12,
    "ZnO": 0.02,
    "As2O3": 0.005,
    "H2O(l)": 0.01,
}
SCRAP = {"Cu": 0.97, "Cu2O": 0.03}
