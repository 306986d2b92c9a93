"""The demonstration cases, each solved once for all tests of a process; nobody may change what is handed out."""

from __future__ import annotations

import functools
import pickle
from pathlib import Path

from pyrobal.case.load import Case, load_case
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.report.result import Result, balance

CASES = Path(__file__).parents[1] / "cases"


@functools.cache
def demo(name: str, *overrides: str) -> Case:
    """A case of the folder ``cases``, with settings laid over it, "KEY=VALUE" each."""
    return load_case(CASES / f"{name}.toml", overrides)


@functools.cache
def balanced(name: str, *overrides: str) -> Result:
    """Its balance as people use it."""
    return balance(demo(name, *overrides))


def solved(name: str, *overrides: str) -> Results:
    """Its balance as the engine gives it."""
    return balanced(name, *overrides).results


_known: dict[bytes, Results] = {}


def remembered(inputs: Inputs) -> Results:
    """``solve``, but what was solved before is not solved again: for tests of what commands print."""
    written = pickle.dumps(inputs)
    if written not in _known:
        _known[written] = solve(inputs)
    return _known[written]
