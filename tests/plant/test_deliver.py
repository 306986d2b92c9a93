"""Cleaned gas handed to the acid plant moment by moment: air by the two rules, and what goes by."""

from __future__ import annotations

import numpy as np
import pytest
from off_gases import gas_train

from pyrobal.arrays import FloatN
from pyrobal.plant.gas_train import deliver
from pyrobal.streams.dilution import AirNeed, Limit
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import TimeSteps

SITE, FOUR = SiteSettings(), TimeSteps(4)
SWING = np.array([0.4, 0.8, 1.2, 1.6])  # mean one


def swinging(cleaned: Stream) -> Stream:
    """SO2 swings the one way, all else a little the other; the mean is kept."""
    n = np.repeat(cleaned.n, 4, axis=0)
    so2 = cleaned.phase.index("SO2(g)")
    n[:, so2] *= SWING
    others = np.arange(n.shape[1]) != so2
    n[:, others] *= (1.25 - 0.25 * SWING)[:, None]
    return Stream(cleaned.phase, n, np.repeat(cleaned.T, 4))


def dry(gas: Stream) -> FloatN:
    return gas.total() - gas.amount("H2O(g)")


@pytest.mark.parametrize("limit", [Limit(), Limit(flow=np.array([4500.0])), Limit(so2=np.array([500.0]))])
def test_every_moment_keeps_the_rules_and_the_limits(limit: Limit) -> None:
    train = gas_train()
    s = train.settings
    cleaned = swinging(train.cleaning.cleaned.gas)
    out, _, gas = deliver(train, cleaned, FOUR, limit, SITE)
    flow, so2, o2 = dry(gas), gas.amount("SO2(g)"), gas.amount("O2(g)")
    assert (so2 <= s.so2_highest * flow * (1 + 1e-12)).all()
    assert (o2 >= s.o2_so2_lowest * so2 * (1 - 1e-12)).all()
    assert limit.flow is None or (flow <= limit.flow * (1 + 1e-9)).all()
    assert limit.so2 is None or (so2 <= limit.so2 * (1 + 1e-9)).all()
    np.testing.assert_allclose(out.cleaning.dilution.outlet.gas.n, FOUR.mean(gas).n, rtol=1e-12)
    assert np.abs(out.ledger.element_closure()).max() < 1e-12
    assert abs(out.ledger.heat_closure()[0]) < 1e-9
    if limit.given:
        passed = out.cleaning.bypass
        assert (passed.over.flow > 0).any() and not (passed.over.flow > 0).all()
        gone = passed.gone.gas.amount("SO2(g)") + FOUR.mean(so2)
        np.testing.assert_allclose(gone, train.cleaning.cleaned.gas.amount("SO2(g)"), rtol=1e-12)
        np.testing.assert_allclose(passed.over.so2.mean(axis=1), passed.gone.gas.amount("SO2(g)"), rtol=1e-12)
    else:
        assert out.cleaning.bypass is None


def test_a_steady_gas_without_limit_is_delivered_as_the_train_has_it() -> None:
    train = gas_train()
    out, _, gas = deliver(train, train.cleaning.cleaned.gas, TimeSteps(), Limit(), SITE)
    np.testing.assert_allclose(gas.n, train.to_acid_plant.n, rtol=1e-12)
    np.testing.assert_allclose(out.ledger.elements_out(), train.ledger.elements_out(), rtol=1e-12)


def test_needs_of_gases_add_up() -> None:
    """Each need is linear in the gas, so that a limit on the flow of a mixture is one on each of them."""
    rng = np.random.default_rng(4)
    parts = rng.uniform(0.0, 10.0, (2, 3, 50))
    need = AirNeed(np.array([0.12]), np.array([1.1]))
    apart = [need.flows(so2 + o2 + rest, so2, o2) for so2, o2, rest in parts]
    so2, o2, rest = parts.sum(axis=0)
    np.testing.assert_allclose(sum(apart), need.flows(so2 + o2 + rest, so2, o2), rtol=1e-12, atol=1e-12)
