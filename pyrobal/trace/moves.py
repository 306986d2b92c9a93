"""Functions that put elements in other places: of numpy, and those of indexing and of writing into a part."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

_FIRST: Final = slice(0, 1)
MOVES: Final[dict[Any, slice]] = {  # function -> which of its arguments are elements that move
    **dict.fromkeys(
        (
            np.reshape, np.ravel, np.transpose, np.swapaxes, np.moveaxis, np.expand_dims, np.squeeze,
            np.stack, np.broadcast_to, np.concatenate, np.column_stack, np.take, np.repeat, np.tile,
            np.roll, np.flip, np.split, np.array_split, np.diagonal, np.diag, np.take_along_axis, np.copy,
        ),
        _FIRST,
    ),
    np.where: slice(1, 3),
    np.broadcast_arrays: slice(None),
    np.atleast_1d: slice(None),
}  # fmt: skip


def part_of(whole: Any, key: Any) -> Any:
    """Of ``whole[key]``."""
    return whole[key]


def written_into(whole: Any, key: Any, new: Any) -> Any:
    """Of ``whole[key] = new``: the whole afterwards."""
    found = np.array(whole)
    found[key] = new
    return found


class Output:
    """One of several arrays that a function gives."""

    def __init__(self, function: Any, k: int) -> None:
        self.function, self.k = function, k

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        return self.function(*args, **kwargs)[self.k]
