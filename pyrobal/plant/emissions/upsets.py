"""Upsets: hours of the year in another state, and what the year comes to with them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pyrobal.arrays import FloatN, total
from pyrobal.fields import quantity


@dataclass(frozen=True, kw_only=True)
class UpsetSettings:
    """Another state of the plant: [upset.NAME], with any sections and settings that differ then.

    over : dotted key -> value in SI (or a word) that is laid over the case
    """

    hours: FloatN = quantity(
        "h/a", "time of the year in this state, of the operating time", low=0.0, high=1.0
    )
    over: Mapping[str, Any] = field(default_factory=dict)


def yearly(rate: FloatN, operating: FloatN, upsets: Iterable[tuple[FloatN, FloatN]]) -> FloatN:
    """Mean over the year (N,) [kg/s]: each state for its share of the year, the usual one for the rest.

    rate : (N,) [kg/s] in the usual state; operating : (N,) share of the year that the plant works
    upsets : (N,) share of the year within it, and (N,) [kg/s], of each
    """
    return rate * operating + total(share * (other - rate) for share, other in upsets)
