"""The acid dew point: the band, its ends, and what happens where there is no acid or no water."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.thermo.dew_point import SO3_RANGE, WATER_RANGE, acid_dew_point, okkes, verhoff_banchero
from pyrobal.thermo.water import saturation_temperature


def of(water: float, so3: float) -> tuple[float, float, bool]:
    d = acid_dew_point(np.array([water]), np.array([so3]))
    return float(d.low[0]), float(d.high[0]), bool(d.extrapolated[0])


def test_band_holds_both_correlations() -> None:
    w, a = np.array([8e3]), np.array([300.0])
    low, high, extrapolated = of(8e3, 300.0)
    assert sorted([float(verhoff_banchero(w, a)[0]), float(okkes(w, a)[0])]) == [low, high]
    assert extrapolated  # 0.3 % SO3 is no flue gas


@pytest.mark.parametrize("water", [3e3, 1e4, 2.5e4])
def test_rises_with_both_in_the_flue_gas_range(water: float) -> None:
    so3 = np.geomspace(*SO3_RANGE, 30)
    d = acid_dew_point(np.full(30, water), so3)
    more = acid_dew_point(np.full(30, water * 1.1), so3)
    for band in ("low", "high"):
        assert (np.diff(getattr(d, band)) > 0).all()
        assert (getattr(more, band) > getattr(d, band)).all()
    assert not d.extrapolated.any()


def test_without_so3_it_is_the_dew_point_of_water() -> None:
    low, high, extrapolated = of(5e3, 0.0)
    assert low == high == saturation_temperature(np.array([5e3]))[0]
    assert not extrapolated


def test_acid_never_condenses_below_water() -> None:
    low, high, _ = of(WATER_RANGE[1], 1e-6)
    assert low >= saturation_temperature(np.array([WATER_RANGE[1]]))[0]
    assert np.isfinite(high)


def test_dry_gas_is_finite_and_said_to_be_outside() -> None:
    low, high, extrapolated = of(0.0, 100.0)
    assert np.isfinite([low, high]).all() and extrapolated


def test_one_scenario_does_not_touch_another() -> None:
    together = acid_dew_point(np.array([8e3, np.nan, 0.0]), np.array([300.0, 300.0, 0.0]))
    assert together.low[0] == of(8e3, 300.0)[0]
    assert np.isnan(together.low[1])
