"""Heat capacity, enthalpy and entropy of one segment, or of many side by side: the formulas, once.

    Cp = a + b T + c / T^2 + d T^2
    H  = h + a T + b T^2 / 2 - c / T + d T^3 / 3                (integral of Cp dT)
    S  = s + a ln T + b T - c / (2 T^2) + d T^2 / 2             (integral of Cp / T dT)

The form of Cp is that of Maier and Kelley with a term in T^2 added, [maier1932].
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

from pyrobal.constants import KELVIN

# Each quantity is a float for one segment, or an array (C,) for C substances; T is a float or (N, 1),
# real or complex. The formulas are the same, so the type is left open.
Quantity = Any


@dataclass(frozen=True, eq=False)
class Curve:
    """Of a mole: a and the constant s in J/(mol K), b, c, d with their powers of T, the constant h in J/mol.

    Of an amount n: the sums over its moles.
    """

    a: Quantity
    b: Quantity
    c: Quantity
    d: Quantity
    h: Quantity = 0.0
    s: Quantity = 0.0

    def heat_capacity(self, T: Quantity) -> Quantity:
        return self.a + self.b * T + self.c / (T * T) + self.d * (T * T)

    def slope(self, T: Quantity) -> Quantity:
        """dCp/dT."""
        return self.b - 2.0 * self.c / (T * T * T) + 2.0 * self.d * T

    def enthalpy(self, T: Quantity) -> Quantity:
        return self.h + T * (self.a + T * (self.b / 2 + T * (self.d / 3))) - self.c / T

    def entropy(self, T: Quantity) -> Quantity:
        return self.s + self.a * np.log(T / KELVIN) + T * (self.b + T * (self.d / 2)) - self.c / (2 * T * T)

    def anchored(self, T: float, H: float, S: float) -> Curve:
        """The same heat capacity with the enthalpy H and the entropy S at T."""
        free = dataclasses.replace(self, h=0.0, s=0.0)
        return dataclasses.replace(self, h=H - free.enthalpy(T), s=S - free.entropy(T))
