"""Settings of the sulfuric acid plant."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import KPA, NM3, NM3_PER_HOUR, PERCENT, TONNE_PER_HOUR, celsius
from pyrobal.fields import choice, quantity

ARRANGEMENTS = ("3", "4", "5", "2/1", "2/2", "3/1", "3/2", "4/1")
MILLIGRAM_PER_NM3 = 1e-6 / NM3  # kg/mol
MOST_BEDS = 5
# Catalyst -> inlet [K] below which a bed does nothing, and from which all of it works: common practice.
# Canadian patent 1127620 (1982) has 420 degC as the lowest a potassium bed is run at.
LIGHTING_OFF: Final = {
    "potassium": (celsius(390), celsius(410)),
    "caesium": (celsius(360), celsius(375)),
    "ideal": (0.0, 1.0),  # works at any temperature: for the equilibria of textbooks
}


def _inlet(bed: int, degrees: float) -> FloatN:
    meaning = f"gas entering bed {bed}"
    value: FloatN = quantity("degC", meaning, default=celsius(degrees), low=celsius(15), high=celsius(600))
    return value


def _catalyst(bed: int) -> str | None:
    word: str | None = choice(f"catalyst of bed {bed}, where another one", tuple(LIGHTING_OFF), default=None)
    return word


def _approach(bed: int, kelvin: float) -> FloatN:
    meaning = f"bed {bed} ends where equilibrium is for gas so much hotter; 0 is equilibrium"
    value: FloatN = quantity("K", meaning, default=kelvin, low=0.0, high=150.0)
    return value


@dataclass(frozen=True)
class AcidPlantSettings:
    """A contact plant: drying, catalyst beds, one or two absorbers, and the acid it makes.

    Defaults are common practice. The approaches give the conversions common in practice (60 to 70, 84 to 92
    and 94 to 97 % after beds 1 to 3; 97 to 98 % by single, 99.7 to 99.8 % by double absorption); a plant's
    own bed analyses should replace them.
    """

    beds: str = choice(
        "catalyst beds; with double absorption, beds before / after the intermediate absorber",
        ARRANGEMENTS, default="3/1",
    )  # fmt: skip
    bed_1_inlet: FloatN = _inlet(1, 415)
    bed_2_inlet: FloatN = _inlet(2, 440)
    bed_3_inlet: FloatN = _inlet(3, 440)
    bed_4_inlet: FloatN = _inlet(4, 420)
    bed_5_inlet: FloatN = _inlet(5, 415)
    bed_1_approach: FloatN = _approach(1, 20)
    bed_2_approach: FloatN = _approach(2, 25)
    bed_3_approach: FloatN = _approach(3, 30)
    bed_4_approach: FloatN = _approach(4, 40)
    bed_5_approach: FloatN = _approach(5, 40)
    catalyst: str = choice(
        "catalyst of the beds, by its promoter: sets the inlet it works from; ideal: at any temperature",
        tuple(LIGHTING_OFF), default="potassium",
    )  # fmt: skip
    bed_1_catalyst: str | None = _catalyst(1)
    bed_2_catalyst: str | None = _catalyst(2)
    bed_3_catalyst: str | None = _catalyst(3)
    bed_4_catalyst: str | None = _catalyst(4)
    bed_5_catalyst: str | None = _catalyst(5)
    bypassed_bed: str = choice(
        "bed that the gas is led around, 0 for none; the others keep their numbers",
        tuple(str(k) for k in range(MOST_BEDS + 1)), default="0",
    )  # fmt: skip
    pressure: FloatN = quantity(
        "kPa", "mean absolute pressure in the beds", default=120 * KPA, low=80 * KPA, high=1000 * KPA
    )
    catalyst_limit: FloatN = quantity(
        "degC", "hottest the catalyst may run for long",
        default=celsius(630), low=celsius(500), high=celsius(750),
    )  # fmt: skip
    dried_moisture: FloatN = quantity(
        "mg/Nm3", "water left in the dried gas", default=50 * MILLIGRAM_PER_NM3,
        low=0.0, high=1000 * MILLIGRAM_PER_NM3,
    )  # fmt: skip
    dried_temperature: FloatN = quantity(
        "degC", "gas leaving the drying tower", default=celsius(50), low=celsius(10), high=celsius(90)
    )
    blower_rise: FloatN = quantity(
        "kPa", "pressure the main blower adds", default=35 * KPA, low=0.0, high=200 * KPA
    )
    blower_efficiency: FloatN = quantity(
        "%", "isentropic efficiency of the blower", default=0.75, low=0.3, high=1.0
    )
    absorber_inlet: FloatN = quantity(
        "degC", "gas entering an absorber, after heat exchange",
        default=celsius(180), low=celsius(100), high=celsius(300),
    )  # fmt: skip
    absorber_outlet: FloatN = quantity(
        "degC", "gas leaving an absorber", default=celsius(80), low=celsius(40), high=celsius(130)
    )
    absorption: FloatN = quantity(
        "%", "SO3 taken up by each absorber, of that entering it", default=99.95 * PERCENT, low=0.0, high=1.0
    )
    heat_loss: FloatN = quantity(
        "%", "heat lost by converter and exchangers, of the heat that brings the gas to bed 1",
        default=0.04, low=0.0, high=0.5,
    )  # fmt: skip
    strength: FloatN = quantity(
        "wt%", "H2SO4 in the acid drawn from absorption", default=98.5 * PERCENT, low=0.60, high=1.0
    )
    drying_strength: FloatN = quantity(
        "wt%", "H2SO4 in the acid drawn from drying", default=96 * PERCENT, low=0.60, high=1.0
    )
    drawn_from_drying: FloatN = quantity(
        "%", "share of the acid, as 100 %, drawn from drying at its strength", default=0.0, low=0.0, high=1.0
    )
    acid_temperature: FloatN = quantity(
        "degC", "acid leaving its coolers", default=celsius(40), low=celsius(15), high=celsius(100)
    )
    water_temperature: FloatN = quantity(
        "degC", "dilution water", default=celsius(20), low=celsius(1), high=celsius(90)
    )
    tail_mist: FloatN = quantity(
        "mg/Nm3", "acid mist in the dry tail gas, as H2SO4: a stated input, not worked out",
        default=30 * MILLIGRAM_PER_NM3, low=0.0, high=5000 * MILLIGRAM_PER_NM3,
    )  # fmt: skip
    flow_limit: FloatN | None = quantity(
        "Nm3/h", "most dried gas the plant takes", default=None, low=0.0, high=2e6 * NM3_PER_HOUR
    )
    so2_limit: FloatN | None = quantity(
        "t/h", "most SO2 the plant takes", default=None, low=0.0, high=1000 * TONNE_PER_HOUR
    )

    @property
    def interpass(self) -> int | None:
        """Beds before the intermediate absorber; None for single absorption."""
        first, slash, _ = self.beds.partition("/")
        return int(first) if slash else None

    @property
    def count(self) -> int:
        """K, the number of beds."""
        return sum(int(beds) for beds in self.beds.split("/"))

    def inlets(self) -> tuple[FloatN, ...]:
        """Inlet temperature (N,) [K] of each bed."""
        return tuple(getattr(self, f"bed_{k}_inlet") for k in range(1, self.count + 1))

    def approaches(self) -> tuple[FloatN, ...]:
        """Approach (N,) [K] of each bed."""
        return tuple(getattr(self, f"bed_{k}_approach") for k in range(1, self.count + 1))

    @property
    def first_inlet(self) -> FloatN:
        """Inlet temperature (N,) [K] of the first bed that is passed."""
        return self.inlets()[self.working()[0] - 1]

    def lighting_margin(self) -> FloatN:
        """(N,) [K] how far the inlet nearest to it, or furthest below, lies above where a bed works whole."""
        margins = [self.inlets()[k - 1] - self.lighting_off(k)[1] for k in self.working()]
        return functools.reduce(np.minimum, margins)

    def working(self) -> tuple[int, ...]:
        """The beds that are passed, counted from 1."""
        return tuple(k for k in range(1, self.count + 1) if not self.bypassed(k))

    def bypassed(self, bed: int) -> bool:
        """Whether the gas is led around a bed, counted from 1."""
        return self.bypassed_bed == str(bed)

    def lighting_off(self, bed: int) -> tuple[float, float]:
        """Inlet [K] below which a bed does nothing, and from which all of it works."""
        return LIGHTING_OFF[getattr(self, f"bed_{bed}_catalyst") or self.catalyst]

    def lit(self, bed: int) -> FloatN:
        """(N,) share of a bed that works at its inlet temperature.

        Rises from nothing to one as t^2 (3 - 2 t) over the range of ``lighting_off``: a convention that keeps
        derivatives, not a rate law.
        """
        none, full = self.lighting_off(bed)
        t = (self.inlets()[bed - 1] - none) / (full - none)
        t = np.where(t.real > 0.0, np.where(t.real < 1.0, t, 1.0), 0.0)
        return t * t * (3.0 - 2.0 * t)
