"""How far an answer reaches: a step that has none takes it from every step that lives on its products.

Products go down the plant, and some go back up. What lies behind a step on either way has no answer where
the step has none; everything else stands.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import IntN
from pyrobal.errors import Reason

RECYCLE = "recycle"  # what is put back, as a step that all it comes back to lives on

# Step -> the steps whose products it takes, where the case has them; the ledger is that of the plant's fence.
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
    "acid_plant": ("gas_train",),
    "load": ("converting", "acid_plant"),
    "emissions": ("slag_cleaning", "electrorefining", "gas_train", "acid_plant"),
    "ledger": ("slag_cleaning", "electrorefining", "gas_train", "acid_plant"),
}
# A limit that is met is a cause. Round a loop these follow from it, and say something only on their own.
_SYMPTOMS = (Reason.NOT_CONVERGED, Reason.RECYCLE_NOT_CLOSED)


@dataclass(frozen=True, eq=False)
class Reach:
    """Why steps have no answer.

    own : step -> (N,) errors.Reason of the step itself, in plant order
    back : (from, to) of what goes back
    """

    own: Mapping[str, IntN]
    back: tuple[tuple[str, str], ...]

    def reason(self, *steps: str) -> IntN:
        """(N,) why readings of ``steps`` have no answer; without a name, why not every step has one."""
        return self._worst(self._before(steps or self.own))[1]

    def failed(self, scenario: int) -> str:
        """The step that the reason of a scenario comes from."""
        steps = list(self.own)
        return steps[int(self._worst(steps)[0][scenario])]

    def _before(self, steps: Collection[str]) -> list[str]:
        """The steps that ``steps`` live on, themselves included, in plant order."""
        found, new = set(steps), set(steps)
        while new:
            takes = {source for step in new for source in _TAKES[step]}
            takes |= {source for came, to in self.back if to in new for source in (came, RECYCLE)}
            new = takes - found
            found |= new
        return [step for step in self.own if step in found]

    def _worst(self, steps: Collection[str]) -> tuple[IntN, IntN]:
        """Which of the steps has the reason to be named, and the reason; the first in plant order."""
        reasons = np.stack(np.broadcast_arrays(*(self.own[step] for step in steps)))
        rank = np.where(reasons == Reason.SOLVED, len(_SYMPTOMS) + 1, 0)
        for k, symptom in enumerate(_SYMPTOMS, start=1):
            rank = np.where(reasons == symptom, k, rank)
        first = rank.argmin(axis=0)
        return first, np.take_along_axis(reasons, first[None, :], axis=0)[0]
