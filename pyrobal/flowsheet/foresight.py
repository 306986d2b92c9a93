"""What will come back once a change has gone round, each element in the shares that steps hand it on in.

A step that takes in a share d more of an element hands on a share d more of it, by every way:

    taken_s d_s = sum over t of handed_ts d_t + (came_s - sent_s)

with taken_s [mol/s] of the element, handed_ts what step t hands to step s, back or onward, and came_s and
sent_s what came back to it and what was sent in. It is exact where the shares stay; where what came is what
was sent nothing more is foreseen, so the recycles close at the same streams.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence

import numpy as np

from pyrobal.arrays import FloatNE, IntN
from pyrobal.numerics.elimination import eliminated
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
_SI, _FE = ELEMENTS.index("Si"), ELEMENTS.index("Fe")


def foreseen(
    taken: Mapping[str, FloatNE],
    onward: Mapping[tuple[str, str], Stream],
    ways: Mapping[str, tuple[str, str]],
    sent: Mapping[str, Stream],
    came: Mapping[str, Stream],
    fluxed: Sequence[str] = (),
) -> dict[str, Stream]:
    """The streams that came back, each substance by its element as much more as is foreseen.

    taken : step -> (N, E) [mol/s] of all it takes in; onward : (from, to) -> stream that is not cut
    ways : name of a cut stream -> (from, to); fluxed : steps whose silica follows from their iron
    """
    steps = list(taken)
    at = {name: (steps.index(to), steps.index(source)) for name, (source, to) in ways.items() if name in came}
    carriers = {name: _carriers(s.phase.names, ways[name][0] in fluxed) for name, s in came.items()}
    kept = np.unique(np.concatenate(list(carriers.values())))  # elements whose changes are asked for
    matrix = {
        (i, i): np.where(amount[:, kept].real > 0, amount[:, kept] * (1.0 + _APART), 1.0)
        for i, amount in enumerate(taken.values())
    }
    more = [0.0 * amount[:, kept] for amount in taken.values()]
    handed = [((steps.index(to), steps.index(source)), stream) for (source, to), stream in onward.items()]
    for place, stream in (*handed, *((at[name], stream) for name, stream in came.items())):
        matrix[place] = matrix.get(place, 0.0) - stream.elements()[:, kept]
    for name, stream in came.items():
        more[at[name][0]] = more[at[name][0]] + stream.elements()[:, kept]
        if name in sent:
            more[at[name][0]] = more[at[name][0]] - sent[name].elements()[:, kept]
    share = [np.where(d.real < _REACH, d, _REACH) for d in eliminated(matrix, more)]
    return {
        name: Stream(s.phase, s.n * (1.0 + share[at[name][1]][:, np.searchsorted(kept, carriers[name])]), s.T)
        for name, s in came.items()
    }


@functools.lru_cache(maxsize=64)
def _carriers(names: tuple[str, ...], fluxed: bool) -> IntN:
    """(S,) the element, on the E axis, that says how much of each substance there is."""
    metals = [e for e in ELEMENTS if e not in (*MINORS, *_NOT_METALS)]
    order = [ELEMENTS.index(e) for e in (*MINORS, *metals, *_NOT_METALS)]
    found = np.array([next(e for e in order if atoms[e] > 0) for atoms in species(*names).composition])
    return np.where(fluxed & (found == _SI), _FE, found)
