"""The heat of a step by item, as its ledger has it: above 25 degC; the reaction at 25 degC on its own."""

from __future__ import annotations

from pyrobal.arrays import FloatN
from pyrobal.streams.ledger import Ledger


def heat_in(ledger: Ledger, item: str) -> FloatN:
    """(N,) [W] reaction heat at 25 degC, power, or what a stream brings above 25 degC."""
    if item == "reaction":
        return ledger.reaction_heat()
    return -ledger.heat_out["power"] if item == "power" else ledger.inputs[item].sensible


def heat_out(ledger: Ledger, item: str) -> FloatN:
    """(N,) [W] what a stream carries above 25 degC, or heat given off without matter."""
    return ledger.heat_out[item] if item in ledger.heat_out else ledger.outputs[item].sensible


def heat_in_items(ledger: Ledger) -> list[str]:
    """The names ``heat_in`` takes."""
    return ["reaction", *(["power"] if "power" in ledger.heat_out else []), *ledger.inputs]


def heat_out_items(ledger: Ledger) -> list[str]:
    """The names ``heat_out`` takes."""
    return [*ledger.outputs, *(item for item in ledger.heat_out if item not in ("power", "surplus"))]
