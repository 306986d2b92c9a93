"""More scenarios than one block holds are solved in blocks and joined; nobody can tell."""

from __future__ import annotations

import numpy as np
import pytest
from plants import random_plants

from pyrobal.flowsheet import solve as path
from pyrobal.readings.registry import evaluate_all


def test_blocks_join_to_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    inputs = random_plants(50, seed=8, own_assays=False)
    whole = path.solve(inputs)
    monkeypatch.setattr(path, "BLOCK", 16)
    parts = path.solve(inputs)
    assert parts.scenarios == 50
    joined = {key: value for _, key, value in evaluate_all(parts)}
    for _, key, one in evaluate_all(whole):
        round_off = 1e-3 if ".heat." in key else 1e-9  # W: what is left of formation heats of some 1e8 W
        np.testing.assert_allclose(joined[key], one, rtol=1e-9, atol=round_off, err_msg=key)
