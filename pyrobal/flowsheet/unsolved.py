"""Steps without a solution: such a step takes it from every step that depends on its products.

Products go down the plant, and some go back up. What lies behind a step on either way has no answer where
the step has none; everything else stands.
"""

from __future__ import annotations

import functools
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import IntN
from pyrobal.errors import Reason

RECYCLE = "recycle"  # what is put back, as a step that all it comes back to lives on

# Step -> the steps whose products it takes, where the case has them; the ledger is the plant boundary.
_TAKES: dict[str, tuple[str, ...]] = {
    "feed": (),
    "dryer": ("feed",),
    "smelting": ("feed",),
    "slag_cleaning": ("smelting",),
    "converting": ("smelting", "slag_cleaning"),
    "anode_furnace": ("converting",),
    "electrorefining": ("anode_furnace",),
    RECYCLE: (),
    "gas_train": ("smelting", "converting", "anode_furnace"),
    "load": ("converting", "gas_train"),
    "acid_plant": ("gas_train", "load"),
    "emissions": ("slag_cleaning", "electrorefining", "gas_train", "acid_plant"),
    "ledger": ("slag_cleaning", "electrorefining", "gas_train", "acid_plant"),
}
# A limit that is met is a cause. Round a loop these follow from it, and say something only on their own.
_SYMPTOMS = (Reason.NOT_CONVERGED, Reason.RECYCLE_NOT_CLOSED)
# Limits of time and temperature: such a step cannot be run, but what goes back from it is what it would be.
_AMOUNTS_STAND = (Reason.BATH_FREEZES, Reason.BATH_OVERHEATS, Reason.BLOWS_LONGER_THAN_CYCLE)
# A plant that cannot be run at this load has no figures for it, upstream neither.
_WHOLE_PLANT = (Reason.BASE_LOAD_ABOVE_LIMIT, Reason.VESSEL_ABOVE_LIMIT)


@dataclass(frozen=True, eq=False)
class Unsolved:
    """Why steps have no answer.

    own : step -> (N,) errors.Reason of the step itself, in plant order
    back : (from, to) of what goes back
    """

    own: Mapping[str, IntN]
    back: tuple[tuple[str, str], ...]

    @functools.cached_property
    def reasons(self) -> Mapping[str, IntN]:
        """Step -> (N,) why it has no answer: a limit met in it, or in a step it lives on."""
        return {step: self._reason(step) for step in _TAKES if step != RECYCLE}

    @property
    def reason(self) -> IntN:
        """(N,) why not every step has an answer."""
        return _first(self.own)[1]

    def failed(self, scenario: int) -> str:
        """The step that the reason of a scenario comes from."""
        return list(self.own)[int(_first(self.own)[0][scenario])]

    def _reason(self, step: str) -> IntN:
        above, around = _lives_on(step, ()), _lives_on(step, self.back)
        handed = {name: x if name in above else self._handed_back(x) for name, x in self.own.items()}
        handed |= {name: _of_the_whole(x) for name, x in self.own.items() if name not in around}
        return _first(handed)[1]

    def _handed_back(self, reason: IntN) -> IntN:
        settled = np.isin(reason, _AMOUNTS_STAND) & (self.own.get(RECYCLE, reason) == Reason.SOLVED)
        return np.where(settled, Reason.SOLVED, reason)


def _lives_on(step: str, back: Collection[tuple[str, str]]) -> set[str]:
    """The steps whose products reach a step, itself included."""
    found, new = {step}, {step}
    while new:
        takes = {source for name in new for source in _TAKES[name]}
        takes |= {source for came, to in back if to in new for source in (came, RECYCLE)}
        new = takes - found
        found |= new
    return found


def _of_the_whole(reason: IntN) -> IntN:
    return np.where(np.isin(reason, _WHOLE_PLANT), reason, Reason.SOLVED)


def _first(reasons: Mapping[str, IntN]) -> tuple[IntN, IntN]:
    """(N,) place and reason of the step to be named: first cause, else first symptom."""
    every = np.stack(np.broadcast_arrays(*reasons.values()))
    rank = np.where(every == Reason.SOLVED, len(_SYMPTOMS) + 1, 0)
    for k, symptom in enumerate(_SYMPTOMS, start=1):
        rank = np.where(every == symptom, k, rank)
    place = rank.argmin(axis=0)
    return place, np.take_along_axis(every, place[None, :], axis=0)[0]
