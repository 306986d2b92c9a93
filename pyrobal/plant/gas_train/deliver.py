"""Cleaned gas handed to the acid plant, moment by moment: what it cannot take goes by, the rest gets air."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.plant.gas_train.offgas import Offgas, air
from pyrobal.plant.gas_train.settings import GasTrainSettings
from pyrobal.plant.gas_train.solve import GasTrainResult, assembled
from pyrobal.plant.gas_train.wet import Bypass, bypass, dilution, dry_flow, needed
from pyrobal.streams.dilution import Limit
from pyrobal.streams.mixing import on_phase
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import GasOverTime, TimeSteps

_ROUNDING = 1e-9  # relative, so that a load equal to the limit keeps it


def deliver(
    train: GasTrainResult, cleaned: Stream, moments: TimeSteps, limit: Limit, site: SiteSettings
) -> tuple[GasTrainResult, Stream, Stream]:
    """Hand over what the acid plant can take of the gas of every moment, with the air it then needs.

    cleaned : (N T, S) gas behind the mist precipitators, whose mean is that of the train

    The rest goes by before air is added. Returns the train with by-pass and dilution as means of the moments,
    and the diluted gas: its mean, and at every moment (N T, S), equally warm at all moments of a scenario.
    """
    s, c = train.settings, train.cleaning
    assert c is not None
    with np.errstate(all="ignore"):  # a scenario without an answer carries nan; its reason says why
        s_over = moments.spread(s)
        taken = cleaned.scaled(_taken(cleaned, s_over, moments.spread(limit)))
        extra = needed(taken, s_over) - dry_flow(taken)
        passed = _passed(c.cleaned, cleaned, taken, s_over, moments) if limit.given else None
        left = c.cleaned if passed is None else passed.outlet
        diluted = dilution(left, moments.mean(extra), site)
        n = taken.n + on_phase(air(extra, moments.spread(site)), taken.phase)
        handed = Stream(taken.phase, n, moments.spread(diluted.outlet.T))
        cleaning = replace(c, dilution=diluted, bypass=passed)
        return assembled(train.lines, cleaning, s, site), diluted.outlet.gas, handed


def _passed(inlet: Offgas, all_gas: Stream, taken: Stream, s: GasTrainSettings, moments: TimeSteps) -> Bypass:
    """The by-pass; all_gas, taken : (N T, S) at every moment."""
    gone = Stream(all_gas.phase, all_gas.n - taken.n, all_gas.T)
    diluted = replace(GasOverTime.of(all_gas, moments), flow=moments.series(needed(all_gas, s)))
    return bypass(inlet, moments.mean(gone), GasOverTime.of(gone, moments), diluted)


def _taken(gas: Stream, s: GasTrainSettings, limit: Limit) -> FloatN:
    """Share (N,) of a gas the acid plant can take: flow and SO2 both fall with it."""
    share = np.ones(1)
    for load, most in ((needed(gas, s), limit.flow), (gas.amount("SO2(g)"), limit.so2)):
        if most is not None:
            above = load > most * (1.0 + _ROUNDING)
            share = np.minimum(share, np.where(above, most / np.where(above, load, 1.0), 1.0))
    return share
