"""Newton's method: the root does not show where the search began."""

from __future__ import annotations

import numpy as np
import pytest
from cubics import Pair
from hypothesis import given, settings
from hypothesis import strategies as st

from pyrobal.numerics.newton import newton


@given(st.floats(0.5, 1.5), st.floats(0.2, 5.0))
@settings(max_examples=60, deadline=None)
def test_the_root_is_the_same_from_every_start(start: float, p: float) -> None:
    """To round-off and not only to the tolerance: fits compare readings closer than that."""
    one, other = (newton(Pair(np.array([p])), np.full((1, 2), x)) for x in (start, 0.9))
    assert one.converged.all() and other.converged.all()
    assert one.z == pytest.approx(other.z, rel=1e-13)
