"""Dryer: concentrate moisture driven off with a fuel before smelting."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.constants import celsius
from pyrobal.fields import quantity, text


@dataclass(frozen=True)
class DryerSettings:
    """A fuel-fired dryer."""

    fuel: str = text("name of a [fuel.*] table", default="natural_gas")
    efficiency: FloatN = quantity(
        "%", "heat to water and solids, of the fuel's lower heating value", default=0.75, low=0.05, high=1.0
    )
    solids_temperature: FloatN = quantity(
        "degC", "dried concentrate leaving", default=celsius(80), low=celsius(0), high=celsius(200)
    )
    gas_temperature: FloatN = quantity(
        "degC", "dryer gas leaving", default=celsius(120), low=celsius(60), high=celsius(400)
    )
