"""A few linear equations whose coefficients are arrays, many of them zero: solved all at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pyrobal.arrays import Floats


def eliminated(matrix: Mapping[tuple[int, int], Floats], right: Sequence[Floats]) -> list[Floats]:
    """x with sum over j of matrix[i, j] x[j] = right[i], elementwise in arrays of one shape.

    matrix : (row, column) -> coefficients; those that are not there are zero
    Without exchange of rows: for matrices whose diagonal outweighs the rest of its column, as that of any
    balance does.
    """
    m, x, last = dict(matrix), list(right), len(right)
    for k in range(last):
        for i in range(k + 1, last):
            if (i, k) in m:
                factor = m[i, k] / m[k, k]
                for j in range(k + 1, last):
                    if (k, j) in m:
                        m[i, j] = m.get((i, j), 0.0) - factor * m[k, j]
                x[i] = x[i] - factor * x[k]
    for k in reversed(range(last)):
        for j in range(k + 1, last):
            if (k, j) in m:
                x[k] = x[k] - m[k, j] * x[j]
        x[k] = x[k] / m[k, k]
    return x
