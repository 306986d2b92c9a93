"""Two equations with a root in closed form, shared by tests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import Floats, IntN


@dataclass(frozen=True)
class Pair:
    """x^3 + y = p, x - y^3 = 0; solved by x = y^3, y^9 + y = p."""

    p: Floats

    def residual(self, z: Floats) -> Floats:
        x, y = z.T
        return np.stack([x**3 + y - self.p, x - y**3], axis=1)

    def take(self, rows: IntN) -> Pair:
        return Pair(self.p[rows])
