"""Figures as plotly takes them, plain values that a page can carry; each with the table it is drawn from."""

from __future__ import annotations

from pyrobal.report.figures.figure import Figure
from pyrobal.report.figures.heat import heat
from pyrobal.report.figures.slag import slags
from pyrobal.report.figures.time import acid_plant, cycle, load
from pyrobal.report.result import Result

__all__ = ["Figure", "figures"]


def figures(result: Result) -> list[Figure]:
    """What there is to draw of a single case; nothing where it has no answer."""
    if not result.results.solved.all():
        return []
    r = result.results
    return [*heat(result.lines), *slags(result.lines), *cycle(r), *load(r), *acid_plant(r)]
