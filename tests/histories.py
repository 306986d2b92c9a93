"""The demonstration cases solved with their history, each once for all tests of a process."""

from __future__ import annotations

import functools
from collections.abc import Iterator

from demos import demo

from pyrobal.studies.history import History, history
from pyrobal.trace.graph import Node

CASES = ("skerry_point", "brae_fell", "gannet_rock", "thrift_ness", "marram_sound")


@functools.cache
def told(name: str) -> History:
    """A case of the folder ``cases`` with the history of every reading."""
    return history(demo(name).inputs)


def behind(*nodes: Node) -> Iterator[Node]:
    """Every node that some are made of, themselves included, each once."""
    met, ahead = set(), [*nodes]
    while ahead:
        node = ahead.pop()
        if node.index not in met:
            met.add(node.index)
            yield node
            ahead.extend(node.nodes())
