"""Frames and results → ``plotly.graph_objects.Figure``. No dash in here; one module a figure, one theme."""
