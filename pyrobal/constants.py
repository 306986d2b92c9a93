"""Physical constants and the plant units that defaults and ranges are written in.

Inside the package every number is SI; ``17 * MW`` or ``celsius(1230)`` only makes a default legible.
Sources: R, exact since the 2019 SI (CODATA 2018). Normal conditions 0 degC and 101.325 kPa, ideal gas
(DIN 1343). Standard state 298.15 K and 1 bar (IUPAC).
"""

from __future__ import annotations

from pyrobal.dimensions import Constant, constant

R = constant(8.314462618, "J/(mol K)", "exact since the 2019 SI, CODATA 2018")
T_STANDARD = constant(298.15, "K", "standard state, IUPAC")  # reference of all formation enthalpies
P_STANDARD = constant(1.0e5, "Pa", "standard state, IUPAC")
T_NORMAL = constant(273.15, "K", "normal conditions, DIN 1343")
P_NORMAL = constant(101_325.0, "Pa", "normal conditions, DIN 1343")  # one atmosphere
FARADAY = constant(96_485.33212, "C/mol", "CODATA 2018")

# One of a unit: ``T / KELVIN`` is the plain number of kelvin that a correlation takes.
SECOND = constant(1.0, "s")
KELVIN = constant(1.0, "K")
WATT = constant(1.0, "W")
PASCAL = constant(1.0, "Pa")
PASCAL_SECOND = constant(1.0, "Pa s")
JOULE_PER_KILOGRAM = constant(1.0, "J/kg")
JOULE_PER_MOLE = constant(1.0, "J/mol")
KILOGRAM_PER_SECOND = constant(1.0, "kg/s")
MOLE_PER_SECOND = constant(1.0, "mol/s")
MOLE_PER_KILOGRAM = constant(1.0, "mol/kg")

HOUR = 3600.0  # s
DAY = 86_400.0  # s
TONNE = 1000.0  # kg
PERCENT = 0.01
PPM = 1e-6
MW = 1e6  # W
MJ = 1e6  # J
KPA = 1000.0  # Pa
TONNE_PER_HOUR = TONNE / HOUR  # kg/s
NM3 = float(P_NORMAL / (R * T_NORMAL))  # mol in one normal cubic metre, 44.615
NM3_PER_HOUR = NM3 / HOUR  # mol/s


def celsius(degrees: float) -> Constant:
    """Degrees Celsius as kelvin."""
    return constant(degrees + 273.15, "K")
