"""The full balance at points of some of its settings, in plant units, as searches ask for it.

Every point is solved once, and what searches side by side ask at a time is one batch.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN, Floats, IntN
from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.aim import Aim
from pyrobal.studies.measure import measured, per_unit
from pyrobal.studies.tangent import tangent
from pyrobal.studies.turns import Turns
from pyrobal.studies.variable import Variable

T = TypeVar("T")
_Asked = tuple[Floats, bool]  # points (K, n), and whether slopes are wanted
_Told = tuple[Floats, Floats]  # values (K, R); slopes (K, n, R) or reasons (K,)


@dataclass(frozen=True, eq=False)
class Balances:
    """A case at other values of n settings.

    units : of the R readings that are looked at; aim : met at every point, by settings of its own
    """

    inputs: Inputs
    variables: tuple[Variable, ...]
    units: Mapping[str, str]
    aim: Aim | None = None
    _known: dict[bytes, tuple[FloatN, Floats]] = field(default_factory=dict)

    def at(self, x: Floats) -> tuple[dict[str, FloatN], dict[str, Floats]]:
        """Readings (N,) at points x (N, n), and their slopes (N, n); nan where there is no answer."""
        values, slopes = self._turns.ask((x, True))
        return self._named(values), self._named(slopes)

    def readings(self, x: Floats) -> tuple[dict[str, FloatN], IntN]:
        """Readings (N,) at points x (N, n), and the reasons (N,) of those without an answer."""
        values, reason = self._turns.ask((x, False))
        return self._named(values), reason.astype(int)

    def side_by_side(self, searches: Sequence[Callable[[], T]]) -> list[T]:
        """What each of these searches finds; what they ask of the plant is solved together."""
        return self._turns.run(searches)

    def put(self, x: Floats) -> Inputs:
        """The inputs at points x (N, n)."""
        inputs = self.inputs
        for variable, column in zip(self.variables, x.T, strict=True):
            inputs = variable.put(inputs, units.to_si(np.ascontiguousarray(column), variable.unit))
        return inputs

    def _named(self, columns: Floats) -> dict[str, Floats]:
        return {key: columns[..., i] for i, key in enumerate(self.units)}

    @cached_property
    def _turns(self) -> Turns[_Asked, _Told]:
        return Turns(self._answer)

    def _answer(self, asked: list[_Asked]) -> list[_Told]:
        """All questions of one turn."""
        new = {row.tobytes(): row for x, sloped in asked if sloped for row in x}
        new = {key: row for key, row in new.items() if key not in self._known}
        if new:
            self._known.update(zip(new, self._sloped(np.stack(list(new.values()))), strict=True))
        plain = [x for x, sloped in asked if not sloped]
        ends = np.cumsum([len(x) for x in plain])[:-1]
        found = [np.split(part, ends) for part in self._plain(np.concatenate(plain))] if plain else [[], []]
        pairs = zip(*found, strict=True)
        return [self._remembered(x) if sloped else next(pairs) for x, sloped in asked]

    def _remembered(self, x: Floats) -> _Told:
        values, slopes = zip(*(self._known[row.tobytes()] for row in x), strict=True)
        return np.stack(values), np.stack(slopes)

    def _sloped(self, x: Floats) -> list[tuple[FloatN, Floats]]:
        """Of each point: readings (R,), and their slopes (n, R)."""
        found = tangent(self.put(x), self.variables, list(self.units), self.aim)
        per = np.array([per_unit(variable.unit) for variable in self.variables])
        slopes = found.slopes * per[:, None] / [per_unit(unit) for unit in self.units.values()]
        slopes = np.broadcast_to(slopes, (len(x), *slopes.shape[1:]))  # one row where a point moves nothing
        return list(zip(self._shown(list(found.values.T), len(x)), slopes, strict=True))

    def _plain(self, x: Floats) -> tuple[Floats, Floats]:
        """Readings (K, R) and reasons (K,)."""
        inputs, met = self.put(x), np.ones(len(x), dtype=bool)
        if self.aim is not None:
            settings, met = self.aim.solved(inputs)
            inputs = self.aim.put(inputs, settings)
        results = solve(inputs)
        reason = np.where(met, results.reason, Reason.AIM_OUT_OF_REACH)
        values = [measured(results, key) for key in self.units]
        return self._shown(values, len(x)), np.broadcast_to(reason, (len(x),))

    def _shown(self, values: Sequence[FloatN], n: int) -> Floats:
        """R readings in SI, each (n,) or (1,), as (n, R) in plant units."""
        pairs = zip(values, self.units.values(), strict=True)
        columns = [np.broadcast_to(units.display(value, unit), (n,)) for value, unit in pairs]
        return np.stack(columns, axis=1) if columns else np.zeros((n, 0))
