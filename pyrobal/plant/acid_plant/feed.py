"""A gas stated by the user, for the acid plant alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, column
from pyrobal.constants import NM3_PER_HOUR, celsius
from pyrobal.fields import quantity
from pyrobal.streams.site import SiteSettings, vapour_pressure
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

_DRY = np.array([celsius(25)])  # temperature of a gas that is stated dry; drying sets it anew


@dataclass(frozen=True)
class AcidFeedSettings:
    """Cleaned gas before the drying tower, in place of everything upstream; nitrogen is the rest of it."""

    flow: FloatN = quantity(
        "Nm3/h", "gas, dry", low=0.0, high=2e6 * NM3_PER_HOUR,
        usual=(5000 * NM3_PER_HOUR, 500_000 * NM3_PER_HOUR),
    )  # fmt: skip
    so2: FloatN = quantity("vol%", "SO2 in the dry gas", low=0.0, high=1.0)
    o2: FloatN = quantity("vol%", "O2 in the dry gas", low=0.0, high=1.0)
    co2: FloatN = quantity("vol%", "CO2 in the dry gas", default=0.0, low=0.0, high=1.0)
    saturated_at: FloatN | None = quantity(
        "degC", "temperature of the gas, saturated with water at the pressure of the site",
        default=celsius(35), low=celsius(2), high=celsius(70), word="dry",
    )  # fmt: skip

    def gas(self, site: SiteSettings) -> Stream:
        """The stream: n_w = n_dry p_sat / (p - p_sat)."""
        water = np.zeros(1)
        if self.saturated_at is not None:
            saturation = vapour_pressure(self.saturated_at)
            water = saturation / (site.pressure - saturation)
        shares = (self.so2, self.o2, self.co2, 1.0 - self.so2 - self.o2 - self.co2, water)
        n = np.stack(np.broadcast_arrays(*shares), axis=1) * column(self.flow)
        T = _DRY if self.saturated_at is None else self.saturated_at
        return Stream(species("SO2(g)", "O2(g)", "CO2(g)", "N2(g)", "H2O(g)"), n, T)
