"""Sweep: any readings over any grid or list of settings."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pyrobal import units
from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault
from pyrobal.studies.aim import Aim
from pyrobal.studies.measure import reading_units
from pyrobal.studies.plan import Plan, plan
from pyrobal.studies.run import CHUNK, Block, Progress, Task, blocks, chunk_of, fingerprint, unseen
from pyrobal.studies.store import Store
from pyrobal.studies.table import Column, StudyTable, joined


@dataclass(frozen=True, eq=False)
class Sweep:
    """What is to be done: scenarios of a case, and what to read of each.

    units : reading -> plant unit, in the order asked for
    chunk : scenarios in a part
    """

    case: Case
    plan: Plan
    units: Mapping[str, str]
    aim: Aim | None = None
    chunk: int = CHUNK

    @property
    def parts(self) -> int:
        """How many chunks there are."""
        return -(-self.plan.scenarios // self.chunk)

    @property
    def columns(self) -> tuple[Column, ...]:
        """Settings varied, setting aimed with, readings."""
        settings = [*self.plan.variables, *([self.aim.by] if self.aim else [])]
        return (
            *(Column(variable.key, variable.unit) for variable in settings),
            *(Column(key, unit) for key, unit in self.units.items()),
        )

    def manifest(self) -> dict[str, Any]:
        """What makes two sweeps the same: program, tables, case, scenarios, readings."""
        digest = hashlib.sha256(self.case.text.encode())
        for path, array in self.case.inputs.arrays():
            digest.update(path.encode() + array.tobytes())
        scenarios = hashlib.sha256()
        for axis in self.plan.axes:
            scenarios.update(axis.values.tobytes())
        aim = None
        if self.aim is not None:
            aim = {**dataclasses.asdict(self.aim), "by": self.aim.by.key}
        return {
            "pyrobal": fingerprint(),
            "case": self.case.title,
            "case_sha256": digest.hexdigest(),
            "overrides": list(self.case.overrides),
            "columns": [column.heading for column in self.columns],
            "scenarios": self.plan.scenarios,
            "scenarios_sha256": scenarios.hexdigest(),
            "aim": aim,
            "chunk": self.chunk,
        }

    def run(
        self, executor: Executor | None = None, done: frozenset[int] | set[int] = frozenset()
    ) -> Iterator[tuple[int, StudyTable]]:
        """Each part that is not ``done``, with its number, in order."""
        todo = [number for number in range(self.parts) if number not in done]
        answers = blocks((self._task(number) for number in todo), executor)
        for number, block in zip(todo, answers, strict=True):
            yield number, self._table(number, block)

    def table(self, executor: Executor | None = None, progress: Progress = unseen) -> StudyTable:
        """All parts below each other."""
        parts = []
        for _, part in self.run(executor):
            parts.append(part)
            progress(len(part), self.plan.scenarios)
        return joined(parts)

    def rows(self, number: int) -> tuple[int, int]:
        """First scenario of a part, and the one after its last."""
        start = number * self.chunk
        return start, min(start + self.chunk, self.plan.scenarios)

    def _task(self, number: int) -> Task:
        values = self.plan.values(*self.rows(number))
        readings = tuple(self.units)
        return Task(self.case.inputs, self.plan.variables, values, readings, self.aim, fingerprint())

    def _table(self, number: int, block: Block) -> StudyTable:
        si = [*self.plan.values(*self.rows(number)).T, *([] if block.aimed is None else [block.aimed])]
        columns = self.columns
        shown = [units.display(x, c.unit) for x, c in zip([*si, *block.readings.T], columns, strict=True)]
        return StudyTable(columns, np.column_stack(shown), np.asarray(block.reason))


def sweep(
    case: Case,
    over: Mapping[str, str | Sequence[Any]],
    read: Sequence[str],
    *,
    scenarios: str | Path | None = None,
    aim: Aim | None = None,
    executor: Executor | None = None,
    chunk: int | None = None,
    progress: Progress = unseen,
) -> StudyTable:
    """Solve a case over a grid of settings and read the answers.

        table = pyrobal.sweep(case, {"smelting.enrichment": ["45 %", "50 %"]}, read=["smelting.heat.surplus"])

    over : key -> values as in a case file, or "FROM:TO:COUNT"; every combination is solved
    scenarios : CSV file with a column per key and a row per scenario, on top of ``over``
    read : keys of readings; aim : see ``aiming``
    executor : any ``concurrent.futures.Executor``; none solves in this process
    chunk : scenarios solved together; progress : called after each of them
    Raises CaseError with everything that is wrong with what was asked.
    """
    job = prepare(case, over, read, scenarios=scenarios, aim=aim, chunk=chunk)
    return job.table(executor, progress)


def sweep_to(
    target: str | Path, job: Sweep, executor: Executor | None = None, progress: Progress = unseen
) -> Path:
    """Sweep into a CSV or Parquet file, or a folder of Parquet parts; goes on where it was interrupted.

    Raises CaseError where the place is taken, OSError where it cannot be written; finished parts stay.
    """
    store = Store.at(target)
    done = store.open(job.manifest())
    for number in done:
        start, stop = job.rows(number)
        progress(stop - start, job.plan.scenarios)
    for number, part in job.run(executor, done):
        store.write(number, part)
        progress(len(part), job.plan.scenarios)
    store.close(job.parts)
    return store.target


def prepare(
    case: Case,
    over: Mapping[str, str | Sequence[Any]],
    read: Sequence[str],
    *,
    scenarios: str | Path | None = None,
    aim: Aim | None = None,
    chunk: int | None = None,
) -> Sweep:
    """Check what is asked, and say what is to be done. Raises CaseError with every fault."""
    chunk = chunk_of(case.inputs) if chunk is None else chunk
    if chunk < 1:
        raise CaseError([Fault("--chunk", None, "", "a chunk holds one scenario or more")])
    found = plan(case, over, scenarios)
    if aim is not None and aim.by.key in {variable.key for variable in found.variables}:
        raise CaseError([Fault("--by", None, aim.by.key, "is varied already; aim with another setting")])
    return Sweep(case, found, reading_units(case, list(dict.fromkeys(read))), aim, chunk)
