"""What is to be said of emissions beside the limits: gas that no acid plant takes, and who emits most."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import HOUR, PERCENT
from pyrobal.flowsheet.results import Results
from pyrobal.plant.emissions import EmissionsResult
from pyrobal.readings.message import Message

# Stacks whose gas an acid plant is there for.
_STRONG = {
    "furnace": "the gas of the smelting furnace",
    "converter": "the gas of converting",
    "cleaned_gas": "the cleaned gas",
}


def _past_the_acid_plant(r: Results, i: int) -> Iterator[Message]:
    if r.emissions is None:
        return
    parts = so2_by_source(r.emissions, i)
    for name, told in _STRONG.items():
        if parts.get(name, 0.0) > 0.0:
            share = parts[name] / sum(parts.values()) / PERCENT
            text = (
                f"{told} goes to a stack and not to an acid plant: {parts[name]:.4g} kg/h SO2, {share:.3g} %"
            )
            yield Message("caution", f"emissions.so2_from.{name}", f"{text} of all that is emitted")


def _largest_past_the_hoods(r: Results, i: int) -> Iterator[Message]:
    """Where most of the SO2 rests on a share that nobody measures, the answer is as good as that share."""
    if r.emissions is None or not (parts := so2_by_source(r.emissions, i)):
        return
    largest, s = max(parts, key=lambda name: parts[name]), r.emissions.settings
    if largest not in ("secondary", "fugitive") or parts[largest] <= 0.0:
        return
    step, share = (
        ("smelting", s.smelting_escape) if r.converting is None else ("converting", s.converting_escape)
    )
    yield Message(
        "note",
        f"emissions.so2_from.{largest}",
        f"the largest source, {parts[largest]:.3g} of {sum(parts.values()):.4g} kg/h SO2; it follows from "
        f"{_one(share, i) / PERCENT:.3g} % of the gas escaping the primary hood (emissions.{step}_escape), a "
        "share to be measured",
    )


def so2_by_source(e: EmissionsResult, i: int) -> dict[str, float]:
    """SO2 [kg/h] of one scenario, from each stack and past the hoods."""
    return {name: _one(source.rate("so2"), i) * HOUR for name, source in e.sources.items()}


def _one(array: FloatN, scenario: int) -> float:
    return float(np.real(array[0] if array.shape[0] == 1 else array[scenario]))


RULES: tuple[Callable[[Results, int], Iterator[Message]], ...] = (
    _past_the_acid_plant,
    _largest_past_the_hoods,
)
