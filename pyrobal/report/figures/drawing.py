"""A figure as a plotly object, for whoever has plotly."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from pyrobal.report.figures.figure import Figure

if TYPE_CHECKING:
    import plotly.graph_objects


def drawing(figures: Mapping[str, Figure], name: str = "", choice: str = "") -> plotly.graph_objects.Figure:
    """One of several figures, the first unless named; ``choice``: one of its views, the first unless named.

    Raises KeyError with the names there are; ModuleNotFoundError that says what to install without plotly.
    """
    if not figures:
        raise KeyError("there is no figure here")
    if name and name not in figures:
        raise KeyError(f"no figure {name!r}; there is {', '.join(figures)}")
    figure = figures[name or next(iter(figures))]
    if choice and choice not in figure.choices:
        raise KeyError(f"no view {choice!r} of {figure.name}; there is {', '.join(figure.choices)}")
    traces, layout = figure.choices[choice or next(iter(figure.choices))]
    try:
        from plotly.graph_objects import Figure as Drawn
    except ModuleNotFoundError as error:
        raise ModuleNotFoundError("figure() needs plotly: pip install 'pyrobal[notebook]'") from error
    return Drawn(data=traces, layout={"title": {"text": figure.title}, **figure.layout, **layout})
