"""Plotly's own objects of what the pages draw: they refuse what plotly.js does not know."""

import functools

import plotly.graph_objects as go


def plotted(draw):
    """The same drawing function, giving plotly's figure."""

    @functools.wraps(draw)
    def made(*args, **more):
        raw = draw(*args, **more).raw()
        return go.Figure(data=raw["data"], layout=raw["layout"] | {"template": "none"})

    return made
