"""The demo cases against the windows of common practice: no source, but what any operator would expect to see."""

from __future__ import annotations

import pytest
from checks import Check
from demos import solved

from pyrobal import units
from pyrobal.readings.registry import evaluate, find

TOPIC = "Demo cases in common practice"
FURNACES = ("skerry_point", "gannet_rock", "brae_fell")
PLANTS = ("marram_sound", "thrift_ness")
# Reading -> lowest, highest, in its plant unit; of which cases.
WINDOWS: dict[str, tuple[float, float, tuple[str, ...]]] = {
    "smelting.oxygen.per_tonne": (90, 260, FURNACES + PLANTS),
    "smelting.gas.so2_dry": (10, 75, FURNACES + PLANTS),
    "smelting.slag.copper": (0.5, 2.5, FURNACES + PLANTS),
    "smelting.slag.magnetite": (4, 16, FURNACES + PLANTS),
    "smelting.slag.fe_sio2": (1.0, 1.6, FURNACES + PLANTS),
    "smelting.slag.viscosity": (0.03, 0.3, FURNACES + PLANTS),
    "smelting.matte.assay.S": (19, 25, FURNACES + PLANTS),
    "smelting.oxygen_potential": (-9, -7, FURNACES + PLANTS),
    "smelting.matte.grade": (69, 71, ("gannet_rock",)),
    "feed.assay.Cu": (24, 30, ("skerry_point", "gannet_rock")),
    "recovery.Cu": (96, 99.8, FURNACES + PLANTS),
    "converting.slag.copper": (2, 20, PLANTS),
    "converting.blister.copper": (98, 99.7, PLANTS),
    "converting.gas.so2": (8, 12, ("marram_sound",)),
    "anode.mass": (350, 420, PLANTS),
    "anode.copper": (99, 99.9, PLANTS),
    "electrorefining.cathode.copper": (99.95, 100, ("marram_sound",)),
    "slag_cleaning.slag.copper": (0.3, 1.0, ("marram_sound",)),
    "acid.conversion": (99.5, 99.95, PLANTS),
    "acid.o2_so2": (0.9, 1.5, ("marram_sound",)),
    "acid.hottest_bed": (580, 640, PLANTS),
    "emissions.sulfur_capture": (94, 99.9, PLANTS),
}


def _checks() -> list[Check]:
    rows = []
    for key, (low, high, cases) in WINDOWS.items():
        for case in cases:
            r = solved(case)
            unit = find(key)[0].unit_for(r)
            value = float(units.display(evaluate(r, key), unit)[0])
            middle, half = (low + high) / 2, (high - low) / 2
            rows.append(
                Check(
                    TOPIC,
                    f"{key}, {case}",
                    "common practice",
                    middle,
                    value,
                    unit,
                    half,
                    f"{low:g} to {high:g}",
                )
            )
    return rows


CHECKS = _checks()


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_within_the_window(check: Check) -> None:
    assert check.ok, str(check)
