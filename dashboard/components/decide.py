"""Saying what was decided, and why something was refused. Shared by the list, the room and the sheet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from dash import html, set_props
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.reader import said
from dashboard.store import Desk
from dashboard.workspace import analyses
from dashboard.workspace.decisions import ChannelState, Decision, Mark
from dashboard.workspace.errors import ConflictError, OutdatedError, ReasonNeededError, RefusedError, WorkspaceError
from tuning.results import Analysis, ChannelResult, Settings

VERB: Final = {"accept": "Accepted", "adjust": "Adjusted", "reject": "Rejected", "starting": "Starting setting taken"}
MARK_WORD: Final[dict[Mark, str]] = {
    "below-floor": "below the safety floor",
    "beyond-code-limit": "beyond the code limit",
    "below-target-floor": "target below the safety floor",
    "not-settable": "not on the detector's list of settings",
}


@dataclass(frozen=True)
class Outcome:
    """What came of an attempt: whether it was done, and what to tell."""

    done: bool
    told: Component


def attempt(work: Callable[[], str]) -> Outcome:
    """Do something that a workspace may refuse; say what was done, or what stood against it and what to do."""
    try:
        text = work()
    except OutdatedError as error:
        return _refused(
            "The analysis is outdated.",
            "Nothing was saved. Since it was made:",
            error.changes,
            "Analyse again, look at what the new analysis says, then decide.",
        )
    except ConflictError as error:
        return _refused(
            "Somebody was faster.",
            "Nothing was saved, so that nobody is overwritten:",
            error.what,
            "The page now shows what stands. Look again, then decide.",
        )
    except ReasonNeededError as error:
        return _refused(
            "A reason is needed.",
            "Nothing was saved yet:",
            error.what,
            "Write the reason, then press the button again.",
        )
    except WorkspaceError as error:
        return _refused("Nothing was saved.", str(error), (), "")
    return Outcome(done=True, told=html.P(text, className="notice done"))


def written_down(book: int | None) -> None:
    """Have everything drawn anew that shows what people decided or said.

    ``book`` is how often that was. Not an output of the callback that did it: one that writes outside its own page is asked, in vain, each
    time the page is drawn.
    """
    set_props(ids.BOOK, {"data": (book or 0) + 1})


def nothing(text: str) -> RefusedError:
    """Return the refusal of something that cannot even be asked."""
    return RefusedError(text)


def analysis_of(desk: Desk) -> Analysis:
    """Return the analysis that the page shows."""
    return analyses.summary(desk.ws, desk.building, desk.analysis)


def _refused(head: str, lead: str, items: tuple[str, ...], way: str) -> Outcome:
    inner: list[Component] = [html.P([html.Strong(head), " ", lead])]
    if items:
        inner.append(html.Ul([html.Li(said(i)) for i in items]))
    if way:
        inner.append(html.P(way))
    return Outcome(done=False, told=html.Div(inner, className="notice refused", role="alert"))


def when(time: dt.datetime, zone: str) -> str:
    """Write a time of the workspace in the building's zone."""
    local = time.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%b %Y, %H:%M}"


def settings_text(s: Settings, control: str) -> str:
    """Write settings in one line."""
    parts = [words.hold(s.hold_off_s)]
    if control != "relay" and s.target_lx is not None:
        parts.append(words.lux(s.target_lx))
    return ", ".join([*parts, s.mode])


def short(state: ChannelState, c: ChannelResult, zone: str) -> dict[str, str] | None:
    """What the list shows of a channel: kind, text, and the whole story on pointing; ``None`` while undecided."""
    d = state.decision
    if d is None:
        return None
    text = "Set on site" if state.visit is not None else VERB[d.kind]
    if d.kind in ("adjust", "starting"):
        text += f": {words.hold(d.settings.hold_off_s)}"
    return {"kind": d.kind, "text": text + (" ⚑" if d.marks else ""), "title": story(d, c, zone)}


def story(d: Decision, c: ChannelResult, zone: str) -> str:
    """Who decided what, when, and why."""
    told = f"{VERB[d.kind]} by {d.by}, {when(d.at, zone)}: {settings_text(d.settings, c.control)}."
    if d.marks:
        told += f" Exception: {', '.join(MARK_WORD[m] for m in d.marks)}."
    return told + (f" Reason: {d.reason}" if d.reason else "")


def extra(cost: float | None, analysis: Analysis) -> str:
    """Say what settings cost a week against the recommendation."""
    if cost is None:
        return "what it costs against the recommendation is not known"
    if abs(cost) < 0.005:
        return "as much as the recommendation"
    amount = words.money(abs(cost), analysis.currency)
    return f"{amount} a week {'more' if cost > 0 else 'less'} than the recommendation"
