"""Where the elements go: no outlet carries less than nothing, and the outlets together carry what was fed.

Every set of sections a plant can have, each with none, half and all of the furnace dust put back.
"""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
from demos import demo

from pyrobal.flowsheet.solve import solve
from pyrobal.readings.registry import evaluate_all

ROUND_OFF = 1e-9
RETURNED = np.array([0.0, 0.5, 1.0])
COPPER = ("converting", "anode_furnace", "electrorefining")  # each takes the product of the one before
GAS = ("gas_train", "acid_plant")
ALONE = ("slag_cleaning", "emissions")
CHOICES = [
    frozenset((*COPPER[:i], *GAS[:k], *alone))
    for i in range(len(COPPER) + 1)
    for k in range(len(GAS) + 1)
    for n in range(len(ALONE) + 1)
    for alone in itertools.combinations(ALONE, n)
]


@pytest.mark.parametrize("sections", CHOICES, ids=lambda s: "+".join(sorted(s)) or "smelting alone")
def test_shares_are_never_negative_and_make_up_what_was_fed(sections: frozenset[str]) -> None:
    gone = {name: None for name in (*COPPER, *GAS, *ALONE) if name not in sections}
    inputs = dataclasses.replace(demo("marram_sound").inputs, load=None, **gone)
    results = solve(inputs.replace("smelting.dust_return", RETURNED))
    assert results.solved.all()
    sums: dict[str, float | np.ndarray] = {}
    for _, key, share in evaluate_all(results):
        if key.startswith("deportment."):
            assert (share >= -ROUND_OFF).all(), (key, share)
            element = key.split(".")[1]
            sums[element] = sums.get(element, 0.0) + share
    for element, total in sums.items():
        np.testing.assert_allclose(total, 1.0, atol=ROUND_OFF, err_msg=element)
        assert (np.abs(results.ledger.closure(element)) < ROUND_OFF).all(), element
