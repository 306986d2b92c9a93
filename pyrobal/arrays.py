"""Array types of the house and the letters of their shapes.

N is the scenario axis: always axis 0, always present, of length N or of length 1 where all scenarios
share one value (it then broadcasts). S counts the species of a phase, E the elements, M the minerals.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatN = npt.NDArray[np.float64]  # (N,) or (1,)
FloatNS = npt.NDArray[np.float64]  # (N, S)
FloatNE = npt.NDArray[np.float64]  # (N, E)
FloatNM = npt.NDArray[np.float64]  # (N, M)
FloatSE = npt.NDArray[np.float64]  # (S, E)
Floats = npt.NDArray[np.float64]  # any other shape, said in the docstring
BoolN = npt.NDArray[np.bool_]  # (N,)
IntN = npt.NDArray[np.int64]  # (N,)


def as_n(value: float | npt.ArrayLike) -> FloatN:
    """One number as (1,), a list or array as (N,), both float64.

    Raises ValueError where the value has more than one axis.
    """
    array = np.atleast_1d(np.asarray(value, dtype=np.float64))
    if array.ndim != 1:
        raise ValueError(f"a quantity has one axis, the scenarios; got shape {array.shape}")
    return array


def column(values: FloatN) -> Floats:
    """(N,) as (N, 1), to scale the rows of an (N, S) array."""
    return values[:, None]
