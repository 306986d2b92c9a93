"""Derivatives of some elements to everything they are made of, by one pass backwards through the graph.

Where equations were solved, dz = -(df/dz)^-1 df: the adjoint of the unknowns becomes one of the equations,
and the pass goes on through these as they stand at the root.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from typing import Any

import numpy as np

from pyrobal.trace.graph import Node
from pyrobal.trace.rules import SOLVED, Array

_MOST_SEEDS = 256  # columns of a Jacobian found in one pass


class Slopes:
    """Adjoints by node; Jacobians of equations are found once and kept."""

    def __init__(self) -> None:
        self._inverse: dict[int, Array] = {}

    def of(self, targets: list[tuple[Node, int]]) -> dict[Node, Array]:
        """Leaf -> (B, *shape) derivatives of B elements, each a node and a flat index, to its elements."""
        seeds: dict[Node, Array] = {}
        for row, (node, element) in enumerate(targets):
            if node not in seeds:
                seeds[node] = np.zeros((len(targets), *node.value.shape))
            seeds[node].reshape(len(targets), -1)[row, element] = 1.0
        return {node: adjoint for node, adjoint in self._back(seeds, 0) if node.rule is None}

    def _back(self, seeds: dict[Node, Array], oldest: int) -> Iterator[tuple[Node, Array]]:
        """Every node with its whole adjoint, latest first, down to the index ``oldest``."""
        adjoints = dict(seeds)
        ahead = [(-node.index, node) for node in adjoints]
        heapq.heapify(ahead)
        while ahead:
            _, node = heapq.heappop(ahead)
            adjoint = adjoints.pop(node)
            yield node, adjoint
            if node.rule is None or not adjoint.any():
                continue
            pulled = self._through(node, adjoint) if node.rule is SOLVED else node.rule.pull(node, adjoint)
            for operand, part in pulled:
                if operand.index < oldest:
                    continue
                if operand in adjoints:
                    adjoints[operand] = adjoints[operand] + part
                else:
                    adjoints[operand] = part
                    heapq.heappush(ahead, (-operand.index, operand))

    def _through(self, node: Node, adjoint: Array) -> Iterator[tuple[Node, Array]]:
        """The adjoint of the equations of a solved node, (B, N, K)."""
        _, equations = node.operands
        rows = len(node.value)
        flat = adjoint.reshape(len(adjoint), rows, -1)
        pulled = -np.einsum("bnk,nkj->bnj", flat, self._inverse_of(node))
        yield equations, pulled.reshape(len(adjoint), *equations.value.shape)

    def _inverse_of(self, node: Node) -> Array:
        """(N, K, K) of (df/dz)^-1; of a row where f does not hang on z, zero."""
        if node.index not in self._inverse:
            J = self._jacobian(node)
            there = np.isfinite(J).all(axis=(1, 2))
            inverse = np.zeros_like(J)
            try:
                inverse[there] = np.linalg.inv(J[there])
            except np.linalg.LinAlgError:
                inverse[there] = np.linalg.pinv(J[there])
            self._inverse[node.index] = inverse
        return self._inverse[node.index]

    def _jacobian(self, node: Node) -> Array:
        """(N, K, K) df_i / dz_j, all rows of one equation at once: rows do not hang on each other."""
        unknown, equations = node.operands
        rows = len(node.value)
        width = node.value.size // rows
        J = np.zeros((rows, width, width))
        for part in np.array_split(np.arange(width), -(-width // _MOST_SEEDS)):
            seed = np.zeros((part.size, rows, width))
            seed[np.arange(part.size), :, part] = 1.0
            seeds = {equations: seed.reshape(part.size, *equations.value.shape)}
            for below, adjoint in self._back(seeds, unknown.index):
                if below is unknown:
                    J[:, part, :] = np.moveaxis(adjoint.reshape(part.size, rows, width), 0, 1)
        return J


def moving(slopes: dict[Node, Array]) -> dict[Node, Any]:
    """The leaves whose derivative is not nil, as of one target."""
    return {node: adjoint[0] for node, adjoint in slopes.items() if adjoint.any()}
