"""Common practice beside what is predicted: bands without a source, for a sense of proportion only."""

from __future__ import annotations

import numpy as np

from pyrobal.constants import PERCENT

# At these matte grades, lowest and highest in the slag of flash and bath furnaces [kg/kg].
USUAL_GRADES = (0.60, 0.65, 0.70, 0.75)
USUAL_SLAG = {
    "copper": ((0.007, 0.008, 0.012, 0.020), (0.013, 0.016, 0.025, 0.040)),
    "magnetite": ((0.06, 0.07, 0.09, 0.12), (0.11, 0.13, 0.16, 0.20)),
}
_ROUNDING = 1e-9


def usual_slag(what: str, grade: float) -> tuple[float, float] | None:
    """Band of "copper" or "magnetite" in slag [kg/kg] at a matte grade [kg/kg]; None outside 60 to 75 %."""
    if not within(grade, USUAL_GRADES[0], USUAL_GRADES[-1]):
        return None
    low, high = USUAL_SLAG[what]
    return float(np.interp(grade, USUAL_GRADES, low)), float(np.interp(grade, USUAL_GRADES, high))


def slag_beside(what: str, x: float, grade: float) -> str | None:
    """A value [kg/kg] in words beside the band of its grade; None where no band is known."""
    band = usual_slag(what, grade)
    if band is None:
        return None
    where = "within" if within(x, *band) else "outside"
    low, high = (end / PERCENT for end in band)
    return (
        f"{x / PERCENT:.2g} % lies {where} the {low:.2g} to {high:.2g} % that is common practice "
        f"at {grade / PERCENT:.0f} % matte"
    )


def within(x: float, low: float, high: float) -> bool:
    """True also at an end that round-off has passed."""
    return low * (1.0 - _ROUNDING) <= x <= high * (1.0 + _ROUNDING)
