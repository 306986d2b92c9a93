"""What solvers and tables say to a trace that is open; without one these cost a look at a variable."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np

from pyrobal.dimensions import unit
from pyrobal.trace import graph, units
from pyrobal.trace.array import Array, Traced, leaf, made
from pyrobal.trace.graph import Leaf, Solution
from pyrobal.trace.rules import SOLVED

F = TypeVar("F", bound=Callable[..., Any])


def solved(root: Any, equations: Callable[[Any], Any], method: str, of: Any = None) -> Any:
    """``root`` (N, ...) as the solution of ``equations``, which are zero there; rows are independent.

    method : the solver, in words; of : unit of the unknowns, or one for each column, or what else has theirs;
        plain numbers where nothing is said
    """
    trace = graph.STATE.trace
    if trace is None:
        return root
    plain = np.array(graph.number(root.node) if type(root) is Traced else root)
    codes = _codes(of)
    unknown = leaf(trace, plain, codes, Leaf("unknown", method))
    with np.errstate(all="ignore"):
        zero = equations(unknown)
    if type(zero) is not Traced:
        return plain
    residual = float(np.abs(zero.node.value).max(initial=0.0))
    if not isinstance(codes, int) or codes == units.ANY:  # a zero to begin with: of what the equations are
        each = np.where(np.equal(codes, units.ANY), zero.node.units, codes)
        codes = units.one(np.broadcast_to(each, plain.shape))
    node = trace.node(
        SOLVED, None, (unknown.node, zero.node), plain, codes, origin=Solution(method, residual)
    )
    return made(plain.copy(), node)


def _codes(of: Any) -> graph.Units:
    if of is None or isinstance(of, str):
        return unit(of or "").code
    if isinstance(of, list):
        return units.one(np.array([unit(text).code for text in of]))
    return units.of(of.node if type(of) is Traced else of)


def remembered(maxsize: int | None = None) -> Callable[[F], F]:
    """``functools.lru_cache`` that keeps what is made in a trace apart, and only as long as that."""

    def keep(function: F) -> F:
        cached = functools.lru_cache(maxsize=maxsize)(function)

        @functools.wraps(function)
        def recalled(*args: Any) -> Any:
            trace = graph.STATE.trace
            if trace is None:
                return cached(*args)
            key = (function, args)
            if key not in trace.kept:
                trace.kept[key] = function(*args)
            return trace.kept[key]

        return recalled  # type: ignore[return-value]

    return keep


def tabulated(
    value: Array, name: str, of: str, labels: tuple[str, ...], source: str = "", kind: str = "table"
) -> Any:
    """Numbers of a table, where a trace is open as such."""
    trace = graph.STATE.trace
    if trace is None:
        return value
    return leaf(trace, value, unit(of).code, Leaf(kind, name, labels, source))
