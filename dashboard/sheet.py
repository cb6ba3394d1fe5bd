"""The settings sheet of a building: what was decided, to take to site. As rows, CSV, JSON, and HTML to print on A4.

Only what was decided stands on it. A setting beyond a floor or a limit is marked, with the reason that was given.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import asdict, dataclass
from html import escape
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from dashboard import words
from dashboard.components.decide import MARK_WORD, VERB, when
from dashboard.reader import said
from dashboard.sheet_style import STYLE
from dashboard.workspace import Workspace, analyses, buildings, decisions
from dashboard.workspace.decisions import Kind, Mark, Visit
from tuning.export import safe_in_spreadsheets
from tuning.hold_timer import hold_off_of_code, hold_timer_code
from tuning.results import Settings
from tuning.site import Site


@dataclass(frozen=True)
class SheetRow:
    """One decided channel.

    ``code_now`` and ``code_new`` are hold-timer codes of IEC 62386-303, ``None`` where there is no hold-off or none fits. ``trial_days`` is
    set where a recommended trial was accepted.
    """

    room: str
    room_name: str
    channel: str
    control: str
    position: str
    kind: Kind
    now: Settings
    new: Settings
    code_now: int | None
    code_new: int | None
    trial_days: int | None
    marks: tuple[Mark, ...]
    reason: str
    decision: int
    decided_by: str
    decided_at: dt.datetime
    analysis: int
    visit: Visit | None


@dataclass(frozen=True)
class Source:
    """An analysis that some decision rests on."""

    id: int
    made: dt.datetime
    version: str
    changes: tuple[str, ...]
    """What has changed since, of all rooms; empty where it is up to date."""


@dataclass(frozen=True)
class Sheet:
    """What was decided about a building, at one moment."""

    building: str
    site: str
    time_zone: str
    made: dt.datetime
    rows: tuple[SheetRow, ...]
    rejected: tuple[SheetRow, ...]
    undecided: int
    sources: tuple[Source, ...]


def sheet_of(ws: Workspace, building: str) -> Sheet:
    """Gather what stands decided about a building, in the order of ``site.toml``.

    Raises
    ------
    NotThereError
        If there is no such building.
    """
    site = buildings.site(ws, building)
    states = decisions.states(ws, building)
    latest = analyses.latest(ws, building)
    advised = (
        {} if latest is None else {(c.room, c.channel): c for c in analyses.summary(ws, building, latest.id).channels}
    )
    rows, undecided = [], 0
    for room, facts in site.rooms.items():
        for channel in facts.channels:
            state = states.get((room, channel))
            if state is None or state.decision is None:
                undecided += 1
                continue
            c = advised.get((room, channel))
            on_trial = c is not None and c.recommended == state.decision.settings
            rows.append(_row(site, room, channel, state, c.trial_days if c is not None and on_trial else None))
    used = sorted({r.analysis for r in rows})
    return Sheet(
        building=building,
        site=site.site.name,
        time_zone=site.site.time_zone,
        made=dt.datetime.now(dt.UTC),
        rows=tuple(r for r in rows if r.kind != "reject"),
        rejected=tuple(r for r in rows if r.kind == "reject"),
        undecided=undecided,
        sources=tuple(
            Source(a.id, a.created_at, a.version, tuple(analyses.changes_since(ws, building, a.id)))
            for a in analyses.all_of(ws, building)
            if a.id in used
        ),
    )


def _row(site: Site, room: str, channel: str, state: decisions.ChannelState, trial_days: int | None) -> SheetRow:
    d = state.decision
    assert d is not None
    facts = site.rooms[room]
    notes = [n for n in (facts.note, facts.channels[channel].note) if n]
    return SheetRow(
        room=room,
        room_name=facts.name or room,
        channel=channel,
        control=facts.channels[channel].control,
        position="; ".join(notes),
        kind=d.kind,
        now=d.was,
        new=d.settings,
        code_now=_code(d.was.hold_off_s),
        code_new=_code(d.settings.hold_off_s),
        trial_days=trial_days if d.kind == "accept" else None,
        marks=d.marks,
        reason=d.reason,
        decision=d.id,
        decided_by=d.by,
        decided_at=d.at,
        analysis=d.analysis,
        visit=state.visit,
    )


def _code(hold_off_s: float | None) -> int | None:
    return None if hold_off_s is None else hold_timer_code(hold_off_s)


def exception(row: SheetRow) -> str:
    """Say what is beyond a floor or a limit, and the reason given; empty where nothing is."""
    told = "; ".join(MARK_WORD[m] for m in row.marks)
    return f"{told}. Reason: {row.reason}" if told and row.reason else told


def table(sheet: Sheet) -> pl.DataFrame:
    """One row a channel, for other programs; texts as they are."""
    rows = [
        {
            "room": r.room,
            "room_name": r.room_name,
            "channel": r.channel,
            "detector_position": r.position,
            "decision": r.kind,
            "old_hold_off_s": r.now.hold_off_s,
            "new_hold_off_s": r.new.hold_off_s,
            "old_hold_timer_code": r.code_now,
            "new_hold_timer_code": r.code_new,
            "old_target_lx": r.now.target_lx,
            "new_target_lx": r.new.target_lx,
            "old_mode": r.now.mode,
            "new_mode": r.new.mode,
            "trial_days": r.trial_days,
            "exception": exception(r),
            "reason": r.reason,
            "decided_by": r.decided_by,
            "decided_at": r.decided_at.isoformat(),
            "analysis": r.analysis,
            "set_at": None if r.visit is None else r.visit.set_at.isoformat(),
            "set_by": None if r.visit is None else r.visit.set_by,
        }
        for r in sheet.rows
    ]
    texts = ("room", "room_name", "channel", "detector_position", "decision", "old_mode", "new_mode", "exception")
    kinds = dict.fromkeys((*texts, "reason", "decided_by", "decided_at", "set_at", "set_by"), pl.String)
    numbers = dict.fromkeys(("old_hold_off_s", "new_hold_off_s", "old_target_lx", "new_target_lx"), pl.Float64)
    whole = dict.fromkeys(("old_hold_timer_code", "new_hold_timer_code", "trial_days", "analysis"), pl.Int64)
    order = list(rows[0]) if rows else [*kinds, *numbers, *whole]
    schema = kinds | numbers | whole
    return pl.DataFrame(rows, schema={name: schema[name] for name in order})


def csv(sheet: Sheet) -> str:
    """Write the sheet as CSV. A text that a spreadsheet would run as a formula gets a leading apostrophe."""
    return safe_in_spreadsheets(table(sheet)).write_csv()


def as_json(sheet: Sheet) -> str:
    """Write the sheet as JSON: rows as in the CSV, what it rests on, and the cautions."""
    content: dict[str, Any] = {
        "site": sheet.site,
        "made": sheet.made.isoformat(),
        "time_zone": sheet.time_zone,
        "analyses": [asdict(s) | {"made": s.made.isoformat()} for s in sheet.sources],
        "undecided_channels": sheet.undecided,
        "cautions": [f"{head} {text}" for head, text in words.CAUTIONS],
        "settings": table(sheet).to_dicts(),
    }
    return json.dumps(content, ensure_ascii=False, indent=1) + "\n"


def page(sheet: Sheet) -> str:
    """Write the sheet as a self-contained HTML document. Every name from outside is escaped; nothing is loaded from anywhere."""
    made = when(sheet.made, sheet.time_zone)
    undecided = f" {sheet.undecided} channels are undecided and not on it." if sheet.undecided else ""
    parts = [
        f"<h1>{escape(sheet.site)}: settings to set</h1><p class='soft'>Made {made}. {len(sheet.rows)} decided channels.{undecided} "
        f"Times in {escape(sheet.time_zone)}.</p>",
        _sources(sheet),
        _cautions(),
        _settings(sheet),
        _rejected(sheet),
        "<div class='signs'><div>Set by (name, company)</div><div>Date</div><div>Signature</div>"
        "<div>Checked by (name)</div><div>Date</div><div>Signature</div></div>",
    ]
    return (
        "<!doctype html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(sheet.site)}: settings sheet</title>\n<style>{STYLE}</style></head>\n<body><main>"
        + "\n".join(parts)
        + "</main></body></html>\n"
    )


def _sources(sheet: Sheet) -> str:
    told = ""
    for s in sheet.sources:
        told += f"<p>From analysis {s.id} of {when(s.made, sheet.time_zone)}, holdoff {escape(s.version)}.</p>"
        if s.changes:
            changes = "; ".join(escape(said(c)) for c in s.changes)
            told += f"<p class='stale'><b>Outdated since.</b> {changes}. Analyse again before going to site, or set what is here knowingly.</p>"
    return told


def _cautions() -> str:
    items = "".join(f"<p><b>{escape(head)}</b> {escape(text)}</p>" for head, text in words.CAUTIONS)
    return f"<section class='cautions' aria-label='Cautions'>{items}</section>"


def _settings(sheet: Sheet) -> str:
    if not sheet.rows:
        return "<h2>Settings</h2><p>Nothing has been decided yet, so there is nothing to set.</p>"
    heads = (
        "Set",
        "Room, channel",
        "Detector position",
        "Hold-off",
        "Hold timer*",
        "Target at the detector",
        "Mode",
        "Set at, by",
    )
    head = "".join(f"<th scope='col'>{h}</th>" for h in heads)
    return (
        f"<h2>Settings</h2><div class='scroll' tabindex='0' role='region' aria-label='Settings'><table><thead><tr>{head}</tr></thead><tbody>"
        + "".join(_line(r, sheet.time_zone) for r in sheet.rows)
        + "</tbody></table></div><p class='soft'>* Code of the hold timer of IEC 62386-303, steps of 10 s; "
        "only where the detector is set over the lighting bus.</p>"
    )


def _line(r: SheetRow, zone: str) -> str:
    hold = _changed(words.hold(r.now.hold_off_s), words.hold(r.new.hold_off_s))
    if r.kind == "starting":
        hold += "<br><span class='flag start'>STARTING POINT</span>"
    if r.trial_days:
        hold += f"<br>trial, {r.trial_days} days"
    target = "–" if r.control == "relay" else _changed(words.lux(r.now.target_lx), words.lux(r.new.target_lx))
    done = f"{when(r.visit.set_at, zone)}, {escape(r.visit.set_by)}" if r.visit else "<span class='blank'></span>"
    line = (
        f"<tr><td><span class='box'>{'✓' if r.visit else ''}</span></td><td><span class='room'>{escape(r.room_name)}</span><br>"
        f"{escape(r.channel)} <span class='soft'>({escape(r.room)})</span></td><td>{escape(r.position) or '–'}</td><td>{hold}</td>"
        f"<td class='code'>{_codes(r)}</td><td>{target}</td><td>{_changed(r.now.mode, r.new.mode)}</td><td class='sign'>{done}</td></tr>"
    )
    note = f"{VERB[r.kind]} by {escape(r.decided_by)}, {when(r.decided_at, zone)}, analysis {r.analysis}."
    if r.marks:
        note = f"<span class='flag'>EXCEPTION</span> {escape(exception(r))} {note}"
    elif r.reason:
        note += f" {escape(r.reason)}"
    return line + f"<tr class='exception'><td></td><td colspan='7' class='soft'>{note}</td></tr>"


def _changed(now: str, new: str) -> str:
    if now == new:
        return f"<b>{escape(new)}</b>"
    return f"<span class='was'>{escape(now)} →</span> <b>{escape(new)}</b>"


def _codes(r: SheetRow) -> str:
    if r.code_new is None:
        return "–"
    held = hold_off_of_code(r.code_new)
    off = "" if held == r.new.hold_off_s else f"<br><span class='soft'>= {words.hold(held)}</span>"
    now = "" if r.code_now is None or r.code_now == r.code_new else f"<span class='was'>{r.code_now} →</span> "
    return f"{now}<b>{r.code_new}</b>{off}"


def _rejected(sheet: Sheet) -> str:
    if not sheet.rejected:
        return ""
    items = "".join(
        f"<tr><td>{escape(r.room_name)}, {escape(r.channel)}</td><td>{escape(r.reason)}</td>"
        f"<td>{escape(r.decided_by)}, {when(r.decided_at, sheet.time_zone)}</td></tr>"
        for r in sheet.rejected
    )
    head = "<tr><th scope='col'>Room, channel</th><th scope='col'>Reason</th><th scope='col'>Rejected by</th></tr>"
    return f"<h2>Leave as they are</h2><table><thead>{head}</thead><tbody>{items}</tbody></table>"


def local_to_utc(text: str, zone: str) -> dt.datetime | None:
    """Read a time on the building's clock as a form gives it; ``None`` where it is none."""
    try:
        return dt.datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(dt.UTC)
    except (TypeError, ValueError, OverflowError):
        return None
