"""Derivatives of readings: how a balance moves when a setting does, without moving it.

A setting is given an imaginary part too small to be seen in the real numbers; everything worked out from it
then carries its derivative times that part, exactly (Squire & Trapp 1998, Using complex variables to estimate
derivatives of real functions, SIAM Review 40, 110-112). Where equations are solved by iteration, the solvers
of ``numerics`` carry it over by the implicit function theorem, dz = -(df/dz)^-1 df.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from pyrobal.arrays import FloatN, Floats, take
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.measure import measured
from pyrobal.studies.variable import Variable

if TYPE_CHECKING:
    from pyrobal.studies.aim import Aim

_STEP: Final = 1e-20  # relative, imaginary: it takes part in no rounding
_TOGETHER: Final = 1024  # rows solved at once


@dataclass(frozen=True, eq=False)
class Tangent:
    """values : (N, R) readings; slopes : (N, V, R) their derivatives to the settings; all in SI."""

    values: Floats
    slopes: Floats


def tangent(
    inputs: Inputs, variables: Sequence[Variable], readings: Sequence[str], aim: Aim | None = None
) -> Tangent:
    """Readings of every scenario and their derivatives to settings that hold a number.

    aim : met throughout; the settings it is met by then move along, dy = -(da/dy)^-1 (da/dx) dx

    Raises ValueError for a setting the case has no number for. nan where a scenario has no answer.
    """
    if aim is not None:
        aimed = aim.put(inputs, aim.solved(inputs)[0])
        return _along(
            len(aim.targets), tangent(aimed, [*variables, *aim.settings], [*readings, *aim.readings])
        )
    n, v = inputs.scenarios, len(variables)
    size = max(_TOGETHER // max(v, 1), 1)
    parts = [
        _tangent(take(inputs, np.arange(i, min(i + size, n))), variables, readings) for i in range(0, n, size)
    ]
    return Tangent(
        np.concatenate([part.values for part in parts]), np.concatenate([part.slopes for part in parts])
    )


def _along(k: int, free: Tangent) -> Tangent:
    """The last k settings move so that the last k readings stay where they are."""
    own = free.slopes[:, -k:, -k:]
    there = np.isfinite(own).all(axis=(1, 2)) & (np.linalg.matrix_rank(np.nan_to_num(own)) == k)
    inverse = np.full_like(own, np.nan)
    inverse[there] = np.linalg.inv(own[there])
    follows = -free.slopes[:, :-k, -k:] @ inverse
    slopes = free.slopes[:, :-k, :-k] + follows @ free.slopes[:, -k:, :-k]
    return Tangent(free.values[:, :-k], slopes)


def _tangent(inputs: Inputs, variables: Sequence[Variable], readings: Sequence[str]) -> Tangent:
    """One row for each scenario and setting, and that setting alone has an imaginary part."""
    n, v = inputs.scenarios, len(variables)
    rows = take(inputs, np.repeat(np.arange(n), v))
    steps = np.zeros((n, v))
    for k, variable in enumerate(variables):
        here = np.broadcast_to(held(rows, variable), (n * v,)).astype(complex)  # with what another has moved
        parts = here.reshape(n, v)
        value = parts[:, k].real
        steps[:, k] = _STEP * np.where(value == 0.0, 1.0, np.abs(value))
        parts[:, k] += 1j * steps[:, k]
        rows = variable.put(rows, parts.ravel())
    results = solve(rows)
    found = np.stack([measured(results, key).reshape(n, v) for key in readings], axis=2)
    slopes = np.where(np.isnan(found), np.nan, found.imag / steps[:, :, None])
    return Tangent(found[:, 0].real, slopes)


def held(inputs: Inputs, variable: Variable) -> FloatN:
    """The value a case has. Raises ValueError where it has none."""
    value = variable.value(inputs)
    if value is None:
        raise ValueError(f"{variable.key} holds no number in this case")
    return value


@dataclass(frozen=True, eq=False)
class Differences:
    """below, above : (V, R) one-sided difference quotients in SI; nan on a side that cannot be entered."""

    below: Floats
    above: Floats


def differences(
    inputs: Inputs,
    variables: Sequence[Variable],
    readings: Sequence[str],
    aim: Aim | None = None,
    relative: float = 1e-4,
    whole: bool = False,
) -> Differences:
    """Difference quotients of one scenario to either side of each setting, as far as its range allows.

    whole : counts move by one instead of a small step

    What nothing has moved is one more row of the same batch: a sum over many rows may round otherwise than
    over one.
    """
    steps = np.empty(2 * len(variables))
    rows = take(inputs, np.zeros(len(steps) + 1, dtype=np.int64))
    for k, variable in enumerate(variables):
        value = float(held(inputs, variable)[0])
        width = 1.0 if whole and variable.count else relative * (abs(value) or 1e-2)
        steps[2 * k : 2 * k + 2] = -width, width
        moved = np.broadcast_to(held(rows, variable), (len(steps) + 1,)).copy()  # with what another has moved
        moved[2 * k : 2 * k + 2] += steps[2 * k : 2 * k + 2]
        allowed = variable.allows(moved)
        moved[2 * k : 2 * k + 2] = np.where(allowed[2 * k : 2 * k + 2], moved[2 * k : 2 * k + 2], value)
        rows = variable.put(rows, moved)
        steps[2 * k : 2 * k + 2] = np.where(allowed[2 * k : 2 * k + 2], steps[2 * k : 2 * k + 2], np.nan)
    if aim is not None:
        rows = aim.put(rows, aim.solved(rows)[0])
    results = solve(rows)
    found = np.stack([measured(results, key) for key in readings], axis=1)
    quotients = (found[:-1] - found[-1]) / steps[:, None]
    return Differences(quotients[0::2], quotients[1::2])
