"""Sweep: any readings over any grid or list of settings."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from pyrobal import units
from pyrobal.case.load import Case
from pyrobal.case.unused import without_effect
from pyrobal.errors import CaseError, Fault
from pyrobal.studies.aim import Aim
from pyrobal.studies.branch import Branch, branches, worded
from pyrobal.studies.grid import MOST_SCENARIOS, Grid, grid, too_many
from pyrobal.studies.measure import reading_units
from pyrobal.studies.run import CHUNK, Block, Progress, Task, blocks, chunk_of, fingerprint, unseen
from pyrobal.studies.store import Store
from pyrobal.studies.table import Column, StudyTable, joined


@dataclass(frozen=True, eq=False)
class Sweep:
    """What is to be done: scenarios of a case, and what to read of each.

    branches : the case, or one for every combination of ``words`` (key -> words); each runs the whole grid
    units : reading -> plant unit, in the order asked for
    chunk : scenarios in a part, all of one branch
    """

    branches: tuple[Branch, ...]
    grid: Grid
    units: Mapping[str, str]
    aim: Aim | None = None
    chunk: int = CHUNK
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def scenarios(self) -> int:
        """How many there are."""
        return self.grid.scenarios * len(self.branches)

    @property
    def parts(self) -> int:
        """How many chunks there are."""
        return self._parts_each * len(self.branches)

    @property
    def _parts_each(self) -> int:
        return -(-self.grid.scenarios // self.chunk)

    @property
    def columns(self) -> tuple[Column, ...]:
        """Settings varied by words and by numbers, settings aimed with, readings."""
        solved = self.aim.settings if self.aim else ()
        return (
            *(Column(key, "", words, varied=True) for key, words in self.words.items()),
            *(Column(variable.key, variable.unit, varied=True) for variable in self.grid.variables),
            *(Column(variable.key, variable.unit) for variable in solved),
            *(Column(key, unit) for key, unit in self.units.items()),
        )

    def manifest(self) -> dict[str, Any]:
        """What makes two sweeps the same: program, tables, case, scenarios, readings."""
        case = self.branches[0].case
        digest = hashlib.sha256(case.text.encode())
        for path, array in case.inputs.arrays():
            digest.update(path.encode() + array.tobytes())
        scenarios = hashlib.sha256()
        for axis in self.grid.axes:
            scenarios.update(axis.values.tobytes())
        aim = None
        if self.aim is not None:
            aim = [{**dataclasses.asdict(t), "by": t.by.key} for t in self.aim.targets]
        return {
            "pyrobal": fingerprint(),
            "case": case.title,
            "case_sha256": digest.hexdigest(),
            "overrides": list(case.overrides),
            "words": self.words,
            "columns": [column.heading for column in self.columns],
            "scenarios": self.scenarios,
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
            progress(len(part), self.scenarios)
        return joined(parts)

    def rows(self, number: int) -> tuple[int, int]:
        """First scenario of a part in the grid, and the one after its last."""
        start = number % self._parts_each * self.chunk
        return start, min(start + self.chunk, self.grid.scenarios)

    def _task(self, number: int) -> Task:
        values = self.grid.values(*self.rows(number))
        readings = tuple(self.units)
        inputs = self.branches[number // self._parts_each].case.inputs
        return Task(inputs, self.grid.variables, values, readings, self.aim, fingerprint())

    def _table(self, number: int, block: Block) -> StudyTable:
        n = len(block.reason)
        words = self.branches[number // self._parts_each].words
        places = [known.index(word) for known, word in zip(self.words.values(), words, strict=True)]
        si = [*self.grid.values(*self.rows(number)).T, *([] if block.aimed is None else block.aimed.T)]
        numbers = zip([*si, *block.readings.T], self.columns[len(places) :], strict=True)
        shown = [np.full(n, place) for place in places] + [units.display(x, c.unit) for x, c in numbers]
        return StudyTable(self.columns, np.column_stack(shown), np.asarray(block.reason))


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

        table = sweep(case, {"smelting.enrichment": ["45 %", "50 %"]}, read=["smelting.heat.surplus"])

    over : key -> values as in a case file, or "FROM:TO:COUNT"; every combination is solved, words the
        slowest
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

    The same study once more leaves what is there as it is. Raises CaseError where the place holds anything
    else or another run is writing it, OSError where it cannot be written; finished parts stay.
    """
    store, manifest = Store.at(target), job.manifest()
    if store.finished(manifest, job.parts):
        progress(job.scenarios, job.scenarios)
        return store.target
    with store.alone():
        done = store.open(manifest)
        for number in done:
            start, stop = job.rows(number)
            progress(stop - start, job.scenarios)
        for number, part in job.run(executor, done):
            store.write(number, part)
            progress(len(part), job.scenarios)
        store.close(manifest, job.parts)
    return store.target


def prepare(
    case: Case,
    over: Mapping[str, str | Sequence[Any]],
    read: Sequence[str],
    *,
    scenarios: str | Path | None = None,
    aim: Aim | None = None,
    chunk: int | None = None,
    option: str = "--over",
) -> Sweep:
    """Check what is asked, and say what is to be done. Raises CaseError with every fault, of ``option``."""
    chunk = chunk_of(case.inputs) if chunk is None else chunk
    if chunk < 1:
        raise CaseError([Fault("--chunk", None, "", "a chunk holds one scenario or more")])
    words = worded(case, over)
    each = branches(case, words, option)
    numbers = {key: written for key, written in over.items() if key not in words}
    found = [
        grid(branch.case, numbers, scenarios, option) for branch in each if numbers or scenarios or not words
    ]
    varied = {variable.key for made in found[:1] for variable in made.variables}
    for key in (set() if aim is None else aim.keys) & varied:
        raise CaseError([Fault("--by", None, key, "is varied already; aim with another setting")])
    over_all = (*found, Grid(()))[0]
    unit_of = _units_in_all(each, read)
    for key in _same_as_set(each, over_all, aim):
        unit_of.pop(key, None)
    job = Sweep(each, over_all, unit_of, aim, chunk, words)
    if job.scenarios > MOST_SCENARIOS:
        raise CaseError([too_many(job.scenarios, option)])
    return job


def _same_as_set(each: Sequence[Branch], scenarios: Grid, aim: Aim | None) -> set[str]:
    """Keys of the settings that are set and have an effect: readings of the same name would repeat them."""
    unused = {key for branch in each for key in without_effect(branch.case.inputs)}
    return {variable.key for variable in (*scenarios.variables, *(aim.settings if aim else ()))} - unused


def _units_in_all(each: Sequence[Branch], read: Sequence[str]) -> dict[str, str]:
    """The plant unit of each reading, which every branch must have and in one unit."""
    found = [reading_units(branch.case, list(dict.fromkeys(read))) for branch in each]
    for key, unit in found[0].items():
        others = {other[key] for other in found} - {unit}
        if others:
            text = f"is in {unit} with one word and in {', '.join(others)} with another; sweep each by itself"
            raise CaseError([Fault("--read", None, key, text)])
    return found[0]
