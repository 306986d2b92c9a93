"""The acid plant alone, on a stated gas: nothing upstream is asked for and nothing of it is answered."""

from __future__ import annotations

from typing import Any

import numpy as np

from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.offgas import GasSide
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.unsolved import Unsolved
from pyrobal.plant import acid_plant

_ABSENT: Any = None  # readings of steps that a case has not are not asked for


def acid_plant_alone(inputs: Inputs, n: int) -> Results:
    """Balance a case with [acid_feed]."""
    assert inputs.acid_feed is not None and inputs.acid_plant is not None
    made = acid_plant.solve(inputs.acid_feed.gas(inputs.site), inputs.site, inputs.acid_plant)
    finite = np.where(inputs.finite(), Reason.SOLVED, Reason.INPUT_NOT_FINITE)
    own = {"feed": finite, "acid_plant": made.reason}
    own = {step: np.broadcast_to(reason, (n,)).astype(np.int64) for step, reason in own.items()}
    gas = GasSide(acid_plant=made)
    return Results(inputs, _ABSENT, None, _ABSENT, _ABSENT, gas, None, Unsolved(own, ()))
