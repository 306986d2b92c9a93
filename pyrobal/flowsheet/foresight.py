"""What will come back once a change has gone round, each element in the shares that steps hand it on in.

A step that takes in a share d more of an element hands on a share d more of it, by every way:

    taken_s d_s = sum over t of handed_ts d_t + (came_s - sent_s)

with taken_s [mol/s] of the element, handed_ts what step t hands to step s, back or onward, and came_s and
sent_s what came back to it and what was sent in. It is exact where the shares stay; where what came is what
was sent nothing more is foreseen, so the recycles close at the same streams.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping

import numpy as np

from pyrobal.arrays import FloatNE, IntN, zeros
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import species

_REACH = 3.0  # how far more may be foreseen at once; an element that nothing lets out would grow for ever
_APART = 1e-9  # keeps the equations of such an element soluble

# Of the elements of a substance the first here, or else its metal, says how much of it there is.
MINORS = (
    "As", "Sb", "Bi", "Pb", "Zn", "Cd", "Ni", "Co", "Mo", "Se", "Te", "Au", "Ag", "Hg", "Cl", "F", "Mn",
    "Ti", "Rest"
)  # fmt: skip
_NOT_METALS = ("S", "O", "C", "H", "N")


def foreseen(
    taken: Mapping[str, FloatNE],
    onward: Mapping[tuple[str, str], Stream],
    ways: Mapping[str, tuple[str, str]],
    sent: Mapping[str, Stream],
    came: Mapping[str, Stream],
) -> dict[str, Stream]:
    """The streams that came back, each substance by its element as much more as is foreseen.

    taken : step -> (N, E) [mol/s] of all it takes in; onward : (from, to) -> stream that is not cut
    ways : name of a cut stream -> (from, to)
    """
    at = {step: i for i, step in enumerate(taken)}
    come = {name: stream.elements() for name, stream in came.items()}
    handed = [(way, stream.elements()) for way, stream in onward.items()]
    handed += [(ways[name], amount) for name, amount in come.items()]
    returned = [(ways[name][1], amount) for name, amount in come.items()]
    returned += [(ways[name][1], -stream.elements()) for name, stream in sent.items()]
    amounts = [*taken.values(), *(amount for _, amount in handed + returned)]
    shape = (max(map(len, amounts)), len(ELEMENTS), len(at), len(at))
    matrix, more = zeros(shape, *amounts), zeros((*shape[:-1], 1), *amounts)
    for step, amount in taken.items():
        matrix[:, :, at[step], at[step]] = np.where(amount.real > 0, amount * (1.0 + _APART), 1.0)
    for (source, to), amount in handed:
        matrix[:, :, at[to], at[source]] -= amount
    for to, amount in returned:
        more[:, :, at[to], 0] += amount
    d = np.linalg.solve(matrix, more)[..., 0]
    d = np.where(d.real < _REACH, d, _REACH)
    return {
        name: Stream(s.phase, s.n * (1.0 + d[:, _carriers(s.phase.names), at[ways[name][0]]]), s.T)
        for name, s in came.items()
    }


@functools.lru_cache(maxsize=64)
def _carriers(names: tuple[str, ...]) -> IntN:
    """(S,) the element, on the E axis, that says how much of each substance there is."""
    metals = [e for e in ELEMENTS if e not in (*MINORS, *_NOT_METALS)]
    order = [ELEMENTS.index(e) for e in (*MINORS, *metals, *_NOT_METALS)]
    return np.array([next(e for e in order if atoms[e] > 0) for atoms in species(*names).composition])
