"""Formulas as MathML, which browsers draw by themselves: the site needs no script and no network for them."""

from __future__ import annotations

from typing import Any

from docutils import nodes
from latex2mathml.converter import convert
from sphinx.application import Sphinx


def _inline(self: Any, node: nodes.math) -> None:
    self.body.append(convert(node.astext(), display="inline"))
    raise nodes.SkipNode


def _block(self: Any, node: nodes.math_block) -> None:
    self.body.append(f'<div class="math">{convert(node.astext(), display="block")}</div>')
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, Any]:
    """Register the renderer."""
    app.add_html_math_renderer("mathml", inline_renderers=(_inline, None), block_renderers=(_block, None))
    return {"version": "1", "parallel_read_safe": True, "parallel_write_safe": True}
