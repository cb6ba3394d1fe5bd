"""Drift on the room page: the picture marks what has changed, and the words say what is watched where nothing has."""

import datetime as dt

import plotly.graph_objects as go
import polars as pl

from dashboard.figures.drift import drift_figure
from dashboard.figures.theme import palette
from dashboard.pages.room.sections.watching import words
from tests.dashboard.plotted import plotted
from tuning.watching import watch_room
from tuning.watching.daily import DAILY

drift_figure = plotted(drift_figure)

FIRST = dt.date(2026, 1, 5)


def days(lamp_after: float) -> pl.DataFrame:
    number = range(70)
    day = [FIRST + dt.timedelta(days=i) for i in number]
    lamp = [(lamp_after if i >= 56 else 400.0) + i % 3 for i in number]
    return pl.DataFrame({"day": day, "lamp_lx": lamp}).select(
        pl.col(n).cast(k) if n in ("day", "lamp_lx") else pl.lit(None, dtype=k).alias(n) for n, k in DAILY.items()
    )


def test_the_day_of_a_change_is_marked_and_its_size_told():
    watched = watch_room("r1", {"main": days(300.0)}, reference_to=FIRST + dt.timedelta(days=42))

    figure = drift_figure(days(300.0), watched, palette("light"))

    assert len(figure.data) == 1
    assert "lx" in figure.layout.yaxis.title.text
    assert [s.x0 for s in figure.layout.shapes if s.type == "line"] == [FIRST + dt.timedelta(days=56)]
    assert "-25%" in str(words(watched))


def test_without_drift_the_page_says_what_is_watched_and_at_which_rate():
    watched = watch_room("r1", {"main": days(400.0)}, reference_to=FIRST + dt.timedelta(days=42))

    told = str(words(watched))

    assert "No drift found" in told
    assert "lamps at full output" in told
    assert "1 false alarm a room and year" in told


def test_before_there_are_newer_days_the_page_says_what_is_missing():
    figure = drift_figure(days(400.0), None, palette("light"))

    assert isinstance(figure, go.Figure)
    assert not figure.data
    assert "Bring in newer logs" in str(words(None))
