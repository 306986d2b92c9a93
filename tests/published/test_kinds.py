"""What a check rests on is told apart by its source."""

from __future__ import annotations

import pytest
from checks import Check


@pytest.mark.parametrize(
    ("source", "kind"),
    [
        ("Matousek 1996, CIM Bulletin", "published"),
        ("common practice, 3 to 10 kg/t", "common practice"),
        ("Common practice", "common practice"),
        ("Haase & Borgmann 1961 (from memory)", "from memory"),
        ("same form (coefficients from memory)", "from memory"),
    ],
)
def test_kind(source: str, kind: str) -> None:
    assert Check("topic", "what", source, 1.0, 1.0, "-", 0.1, "why").kind == kind
