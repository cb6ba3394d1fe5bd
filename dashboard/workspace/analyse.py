"""The work itself: what is known of a building → an analysis, kept whole or not at all."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl

from dashboard.workspace import analyses, documents, drifts, files, saved, verdicts, verifications
from dashboard.workspace import inputs as given
from dashboard.workspace.inputs import Inputs
from dashboard.workspace.space import Workspace
from tuning.logs import Logs
from tuning.pipeline import analyse_logs
from tuning.quality import Outage
from tuning.results import Analysis

ANALYSED_SHARE = 0.8
"""Of the progress, what comes before the verification."""
VERIFIED_SHARE = 0.9
"""What comes before the look for drift."""
READ_SHARE = 0.4
"""Share of the time that reading takes where nothing was read before; for the progress only."""


def analyse(
    ws: Workspace,
    building: str,
    *,
    rooms: list[str] | None,
    by: str,
    job: int,
    progress: Callable[[float, str], None],
    also: Callable[[Any], None],
) -> int:
    """Analyse a building, or some rooms of it, and keep the result.

    Rooms that are not asked for are taken over from the last analysis where that rests on the same; where it does not, they are analysed too.

    Parameters
    ----------
    progress
        Called often; raises to break off.
    also
        Done in the transaction that names the result; raises to keep nothing.

    Returns
    -------
    Number of the analysis.

    Raises
    ------
    TuningError
        If a log cannot be read, or something is missing yet.
    """
    with ws.reading() as session:
        inputs = given.present(session, building)
        last = analyses.latest_row(session, building)
        before = None if last is None else (last.folder, last.inputs)
    results = ws.building_folder(building) / "results"
    kept = _kept(results / before[0], before[1], inputs, rooms) if before and rooms is not None else {}
    progress(0.0, "reading logs")
    logs, outages = files.readings(
        ws, building, inputs, progress=lambda share, what: progress(READ_SHARE * share, files.in_words(what, inputs))
    )
    analysis = _analysed(inputs, logs, outages, kept, lambda share, what: progress(ANALYSED_SHARE * share, what))
    verification = verifications.made(
        inputs,
        logs,
        outages,
        last=None if before is None else (results / before[0], before[1]),
        verdicts=_words(inputs),
        progress=lambda share, what: progress(ANALYSED_SHARE + (VERIFIED_SHARE - ANALYSED_SHARE) * share, what),
    )
    drifted = drifts.made(
        inputs,
        logs,
        outages,
        analysis,
        last=None if before is None else results / before[0],
        unchanged={room for room, _ in kept},
        progress=lambda share, what: progress(VERIFIED_SHARE + (0.99 - VERIFIED_SHARE) * share, what),
    )

    def beside(folder: Path) -> None:
        verifications.write(verification, folder)
        drifts.write(drifted, folder)

    return analyses.keep(
        ws,
        building,
        analysis,
        inputs,
        by=by,
        job=job,
        also=also,
        kept=kept,
        beside=beside,
    )


def _words(inputs: Inputs) -> pl.DataFrame | None:
    """Reviewers' words as a frame."""
    return verdicts.frame(
        [
            {k: v[k] for k in ("room", "channel", "present")} | {"time": documents.time(v["time"])}
            for v in inputs["verdicts"]
        ]
    )


def _kept(folder: Any, before: Inputs, inputs: Inputs, rooms: list[str]) -> dict[tuple[str, str], dict[str, Any]]:
    """Saved entries of channels that need no new analysis."""
    entries = saved.document(folder)["channels"]
    same = {
        room
        for room in {entry["room"] for entry in entries} - set(rooms)
        if not given.changes(before, inputs, rooms={room})
        and list(_channels(before, room)) == list(_channels(inputs, room))
    }
    return {(e["room"], e["channel"]): e for e in entries if e["room"] in same}


def _channels(inputs: Inputs, room: str) -> dict[str, Any]:
    return documents.get(inputs["document"], ("rooms", room, "channels")) or {}


def _analysed(
    inputs: Inputs,
    logs: Logs,
    outages: tuple[Outage, ...],
    kept: dict[tuple[str, str], dict[str, Any]],
    progress: Callable[[float, str], None],
) -> Analysis:
    site = documents.site_of(inputs["document"])
    done = {room for room, _ in kept}
    analysis = analyse_logs(
        site,
        logs,
        progress=lambda share, what: progress(READ_SHARE + (0.99 - READ_SHARE) * share, what),
        verdicts=_words(inputs),
        rooms=[name for name in site.rooms if name not in done],
        outages=outages,
    )
    new = {(c.room, c.channel): c for c in analysis.channels}
    old = {key: saved.channel(entry) for key, entry in kept.items()}
    order = [(name, channel) for name, room in site.rooms.items() for channel in room.channels]
    return dataclasses.replace(analysis, channels=tuple(new.get(key) or old[key] for key in order))
