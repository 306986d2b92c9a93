"""A thousand mutated cases at each run; ``fuzz.py`` makes as many as one likes."""

from __future__ import annotations

import pytest

from .fuzz import fuzz


@pytest.mark.parametrize("seed", range(1, 5))
def test_no_mutated_case_is_answered_wrongly(seed: int) -> None:
    assert fuzz(250, seed) == []
