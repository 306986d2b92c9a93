"""Invented days of the demo furnace: what its instruments would have shown, with errors drawn as they are stated."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from pyrobal import units
from pyrobal.arrays import take
from pyrobal.case.load import Case, load_case
from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry
from pyrobal.studies.reconcile.usual import usual_deviation
from pyrobal.studies.variable import find

CASE = "cases/skerry_point.toml"
TRUTH = {
    "smelting.heat_loss": 16.4e6, "smelting.oxygen_efficiency": 0.978, "smelting.air_in_leakage": 0.09,
    "smelting.magnetite_over_equilibrium": 4.2, "smelting.slag_entrained_matte": 0.0115,
}  # fmt: skip
LOTS = ("Fenholt", "Marrick Dale", "Tolven")
# Settings that differ from day to day, and by how much of themselves; of the reading that shows it where it is one.
DAILY = {
    **{f"concentrate.{lot}.rate": 0.04 for lot in LOTS},
    **{f"concentrate.{lot}.assay.{x}": 0.012 for lot in LOTS for x in ("Cu", "Fe", "S")},
    "smelting.enrichment": 0.01, "smelting.matte_grade": 0.012, "smelting.fe_sio2": 0.02,
}  # fmt: skip
SHOWN = {"smelting.matte_grade": "smelting.matte.grade", "smelting.fe_sio2": "smelting.slag.fe_sio2"}
READ = (
    "smelting.oxygen.industrial", "smelting.air", "smelting.fuel", "smelting.flux.silica", "smelting.matte.rate",
    "smelting.slag.rate", "smelting.slag.copper", "smelting.slag.magnetite", "smelting.gas.flow_dry",
    "smelting.gas.so2_dry",
)  # fmt: skip


@dataclass(frozen=True)
class Days:
    """A table as a plant would bring it.

    values : key -> (T,) as shown, in ``unit``; truth : key -> (T,) without errors, SI; deviation : SI
    """

    names: list[str]
    unit: dict[str, str]
    values: dict[str, np.ndarray]
    truth: dict[str, np.ndarray] = field(default_factory=dict)
    deviation: dict[str, float] = field(default_factory=dict)

    def text(self) -> str:
        """As CSV, with the row of deviations."""
        keys = list(self.values)
        rows: list[Sequence[object]] = [["period", *(f"{k} [{self.unit[k]}]" for k in keys)]]
        shown = [
            units.display(self.deviation[k], "K" if self.unit[k] == "degC" else self.unit[k]) for k in keys
        ]
        rows.append(["precision", *(f"{x:.4g}" for x in shown)])
        for t, name in enumerate(self.names):
            cells = [self.values[k][t] for k in keys]
            rows.append([name, *("" if np.isnan(x) else f"{x:.5g}" for x in cells)])
        stream = io.StringIO()
        csv.writer(stream, lineterminator="\n").writerows(rows)
        return stream.getvalue()

    def write(self, file: Path) -> str:
        """Into a file, whose name is returned."""
        file.write_text(self.text(), encoding="utf-8")
        return str(file)


def days(
    count: int,
    seed: int,
    bias: Mapping[str, float] | None = None,
    truth: Mapping[str, float] = TRUTH,
    read: Sequence[str] = READ,
    case: Case | None = None,
) -> Days:
    """``count`` days with errors; ``bias`` : key -> share by which an instrument reads high."""
    case = case or load_case(CASE)
    rng = np.random.default_rng(seed)
    inputs = take(case.inputs, np.zeros(count, dtype=int))
    for key, value in truth.items():
        inputs = inputs.replace(find(inputs, key).path, np.broadcast_to(value, (count,)))
    real: dict[str, np.ndarray] = {}
    unit: dict[str, str] = {}
    for key, share in DAILY.items():
        variable = find(case.inputs, key)
        base = variable.value(case.inputs)
        assert base is not None
        x = float(base[0]) * (1.0 + share * rng.normal(size=count))
        inputs = inputs.replace(variable.path, x)
        real[SHOWN.get(key, key)], unit[SHOWN.get(key, key)] = x, variable.unit
    results = solve(inputs)
    assert results.solved.all()
    for key in read:
        real[key], unit[key] = registry.evaluate(results, key), registry.find(key)[0].unit_for(results)
    deviation = {k: usual_deviation(k).at(float(np.mean(np.abs(x)))) for k, x in real.items()}
    shown = {
        k: units.display(
            x * (1.0 + (bias or {}).get(k, 0.0)) + deviation[k] * rng.normal(size=count), unit[k]
        )
        for k, x in real.items()
    }
    return Days([f"day {t + 1}" for t in range(count)], unit, shown, real, deviation)


def demo() -> Days:
    """The sheet of the demo: an oxygen meter 4 % high, a sulfur assay that is of another lot, an empty day."""
    truth = {k: x for k, x in TRUTH.items() if k != "smelting.oxygen_efficiency"}
    made = days(30, seed=11, bias={"smelting.oxygen.industrial": 0.04}, truth=truth)
    made.values["concentrate.Fenholt.assay.S"][16] = made.values["concentrate.Tolven.assay.S"][16]
    for values in made.values.values():
        values[8] = np.nan
    return made
