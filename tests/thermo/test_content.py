"""Heat content of a mixture against the properties of its substances."""

from __future__ import annotations

import numpy as np

from pyrobal.streams.stream import Stream
from pyrobal.thermo.content import content
from pyrobal.thermo.properties import species

GAS = species("SO2(g)", "O2(g)", "SO3(g)", "N2(g)", "H2O(g)", "As4O6(g)")


def test_one_curve_holds_what_the_substances_hold() -> None:
    rng = np.random.default_rng(1)
    n, T = rng.uniform(0.0, 5.0, (200, len(GAS))), rng.uniform(400.0, 1300.0, 200)
    held, stream = content(GAS, n), Stream(GAS, n, T)
    np.testing.assert_allclose(held.at(T).enthalpy(T), stream.enthalpy(), rtol=1e-12)
    entropy = (n * GAS.entropy(T)).sum(axis=1)
    np.testing.assert_allclose(held.at(T).entropy(T), entropy, rtol=1e-12)
    np.testing.assert_allclose(held.temperature(stream.enthalpy(), T + 150.0), T, rtol=1e-9)


def test_amounts_with_other_transitions_add_up() -> None:
    """Of one phase and a part of it, whose curves may be parted at fewer temperatures."""
    part, T = species("As4O6(g)", "O2(g)"), np.array([500.0, 1000.0])
    n = np.array([[1.0, 2.0], [0.5, 3.0]])
    whole = content(GAS, np.ones((2, len(GAS)))) + content(part, n)
    alone = Stream(GAS, np.ones((2, len(GAS))), T).enthalpy() + Stream(part, n, T).enthalpy()
    np.testing.assert_allclose(whole.at(T).enthalpy(T), alone, rtol=1e-12)
