"""Mixing, temperatures from heat, and melts gone cold."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.errors import DataError
from pyrobal.streams.mixing import gone_cold, mix, on_phase, temperature
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

AIR = species("O2(g)", "N2(g)")


def test_mixed_temperature_gives_the_heat_back() -> None:
    hot = Stream(AIR, np.array([[1.0, 3.76]]), np.array([1500.0]))
    cold = Stream(species("N2(g)", "SO2(g)"), np.array([[2.0, 1.0]]), np.array([300.0]))
    both = mix(hot, cold)
    assert both.phase.names == ("O2(g)", "N2(g)", "SO2(g)")
    np.testing.assert_allclose(both.n, [[1.0, 5.76, 1.0]])
    np.testing.assert_allclose(both.enthalpy(), hot.enthalpy() + cold.enthalpy(), rtol=1e-12)
    assert 300.0 < both.T[0] < 1500.0


def test_one_stream_is_left_alone() -> None:
    stream = Stream(AIR, np.ones((1, 2)), np.array([500.0]))
    assert mix(stream) is stream


@pytest.mark.parametrize("T", [298.15, 700.0, 1500.0, 2500.0])
def test_temperature_inverts_enthalpy(T: float) -> None:
    phase, n = species("CO2(g)", "H2O(g)", "N2(g)", "SO2(g)"), np.array([[0.2, 0.1, 0.6, 0.1]])
    H = (n * phase.enthalpy(np.array([T]))).sum(axis=1)
    np.testing.assert_allclose(temperature(phase, n, H), T, rtol=1e-12)


def test_temperature_out_of_reach_is_nan_and_disturbs_nobody() -> None:
    n = np.ones((3, 2))
    H = np.array([1e4, 1e9, np.nan])
    alone = temperature(AIR, n[:1], H[:1])
    together = temperature(AIR, n, H)
    assert together[0] == alone[0]  # bit for bit
    assert np.isnan(together[1:]).all()
    assert np.isnan(temperature(AIR, np.zeros((1, 2)), np.zeros(1))).all()


def test_on_phase_refuses_to_lose_a_species() -> None:
    with pytest.raises(DataError):
        on_phase(Stream(AIR, np.ones((1, 2)), np.array([300.0])), species("O2(g)"))


def test_gone_cold_keeps_the_elements_and_the_formation_heat() -> None:
    phase = species("FeO(slag)", "SiO2(l)", "Fe3O4(slag)", "Cu2S(l)", "As2O3(slag)", "Rest(slag)", "SiO2")
    melt = Stream(phase, np.arange(1.0, 8.0)[None, :], np.array([1500.0]))
    cold = gone_cold(melt)
    assert cold.phase.names == ("FeO", "SiO2", "Fe3O4", "Cu2S", "As2O3", "Rest")
    np.testing.assert_allclose(cold.elements(), melt.elements())
    np.testing.assert_allclose(cold.enthalpy(), melt.formation_heat(), rtol=1e-12)
    np.testing.assert_allclose(cold.sensible_heat(), 0.0, atol=1e-6)
