"""A balance that has an answer on both sides has one between: sweeps of 2,000 points over the demo furnaces."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve

POINTS = 2000
SWEEPS = [
    ("skerry_point", "matte_grade", 0.45, 0.77, {}),
    ("skerry_point", "matte_grade", 0.45, 0.77, {"close_heat_with": "slag_temperature"}),
    ("skerry_point", "fe_sio2", 0.6, 3.5, {}),
    ("skerry_point", "oxygen_per_tonne", 4.5, 9.5, {}),
    ("gannet_rock", "matte_grade", 0.45, 0.77, {}),
    ("gannet_rock", "matte_grade", 0.52, 0.523, {}),
    ("gannet_rock", "matte_grade", 0.45, 0.77, {"close_heat_with": "slag_temperature"}),
    ("gannet_rock", "cao_sio2", 0.0, 0.4, {}),
    ("gannet_rock", "slag_temperature", 1450.0, 1650.0, {}),
    ("brae_fell", "matte_grade", 0.42, 0.77, {}),
    ("brae_fell", "matte_grade", 0.42, 0.77, {"matte_oxygen_model": "kaiser_elliott"}),
    ("brae_fell", "fe_sio2", 0.6, 3.5, {"close_heat_with": "cold_charge"}),
]


def _case(name: str, **smelting: str) -> Inputs:
    inputs = load_case(f"cases/{name}.toml").inputs
    return dataclasses.replace(inputs, smelting=dataclasses.replace(inputs.smelting, **smelting))


@pytest.mark.parametrize(("case", "key", "low", "high", "smelting"), SWEEPS)
def test_no_hole(case: str, key: str, low: float, high: float, smelting: dict[str, str]) -> None:
    r = solve(_case(case, **smelting).replace(f"smelting.{key}", np.linspace(low, high, POINTS)))
    for reason in (r.smelting.reason, r.autogenous.reason):
        reason = np.broadcast_to(reason, (POINTS,))
        assert Reason.NOT_CONVERGED not in reason
        solved = np.flatnonzero(reason == Reason.SOLVED)
        if solved.size:
            between = reason[solved[0] : solved[-1] + 1]
            assert (between == Reason.SOLVED).all(), [Reason(int(x)).name for x in np.unique(between)]
    assert r.solved.any()


def test_where_a_flux_begins_to_bind() -> None:
    """Newton overshot into the other branch of the lime row there, gained 0.05 % and was given up."""
    r = solve(_case("gannet_rock").replace("smelting.matte_grade", np.linspace(0.52217, 0.52223, 200)))
    assert r.solved.all() and np.isfinite(r.autogenous.enrichment).all()
