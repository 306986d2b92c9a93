"""Physical constants and the plant units that defaults and ranges are written in.

Inside the package every number is SI; ``17 * MW`` or ``celsius(1230)`` only makes a default legible.
Sources: R, exact since the 2019 SI (CODATA 2018). Normal conditions 0 degC and 101.325 kPa, ideal gas
(DIN 1343). Standard state 298.15 K and 1 bar (IUPAC).
"""

from __future__ import annotations

R = 8.314462618  # J/(mol K)
T_STANDARD = 298.15  # K, reference of all formation enthalpies
P_STANDARD = 1.0e5  # Pa
T_NORMAL = 273.15  # K
P_NORMAL = 101_325.0  # Pa, one atmosphere
FARADAY = 96_485.33212  # C/mol

HOUR = 3600.0  # s
DAY = 86_400.0  # s
TONNE = 1000.0  # kg
PERCENT = 0.01
PPM = 1e-6
MW = 1e6  # W
MJ = 1e6  # J
KPA = 1000.0  # Pa
TONNE_PER_HOUR = TONNE / HOUR  # kg/s
NM3 = P_NORMAL / (R * T_NORMAL)  # mol in one normal cubic metre, 44.615
NM3_PER_HOUR = NM3 / HOUR  # mol/s


def celsius(degrees: float) -> float:
    """Degrees Celsius as kelvin."""
    return degrees + 273.15
