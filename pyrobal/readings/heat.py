"""The heat of a step by item, as its ledger has it: above 25 degC; the reaction at 25 degC on its own."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.streams.ledger import Ledger


def heat_in(ledger: Ledger, item: str, fired: Mapping[str, FloatN]) -> FloatN:
    """(N,) [W] reaction heat at 25 degC, power, or what a stream brings above 25 degC.

    fired : input -> lower heating value (N,) [W] of what it brings; it is left out of the reaction heat
    """
    if item == "reaction":
        return ledger.reaction_heat() - sum(fired.values(), np.zeros(1))
    if item == "power":
        return -ledger.heat_out["power"]
    return ledger.inputs[item].sensible + fired.get(item, 0.0)


def heat_out(ledger: Ledger, item: str) -> FloatN:
    """(N,) [W] what a stream carries above 25 degC, or heat given off without matter."""
    return ledger.heat_out[item] if item in ledger.heat_out else ledger.outputs[item].sensible


def heat_in_items(ledger: Ledger) -> list[str]:
    """The names ``heat_in`` takes."""
    return ["reaction", *(["power"] if "power" in ledger.heat_out else []), *ledger.inputs]


def heat_out_items(ledger: Ledger) -> list[str]:
    """The names ``heat_out`` takes."""
    return [*ledger.outputs, *(item for item in ledger.heat_out if item not in ("power", "surplus"))]
