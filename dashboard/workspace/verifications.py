"""The verification of what was set on site, kept with each analysis."""

from __future__ import annotations

import datetime as dt
import functools
import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from sqlalchemy import select

from dashboard.workspace import analyses, documents, files, jobs, saved
from dashboard.workspace.history import with_visits
from dashboard.workspace.inputs import Inputs
from dashboard.workspace.space import Workspace
from dashboard.workspace.tables import AnalysisRow
from tuning.logs import Logs
from tuning.quality import Outage
from tuning.verification import Verification, verify_logs

FILE = "verification.json"


def made(
    inputs: Inputs,
    logs: Logs,
    outages: tuple[Outage, ...],
    *,
    last: tuple[Path, Inputs] | None,
    verdicts: Any,
    progress: Callable[[float, str], None],
) -> Verification | None:
    """Verify what was set on site; ``None`` where nothing was, or the log does not reach beyond it.

    Parameters
    ----------
    last
        Folder and inputs of the analysis before: its verification is taken over where nothing but a word on a switch-off has come since.
    verdicts
        Reviewers' words, as :func:`tuning.verification.verify_logs` takes them.
    """
    document = with_visits(inputs["document"], inputs.get("visits", []))
    if last is not None:
        folder, before = last
        same = all(before.get(k, []) == inputs.get(k, []) for k in ("version", "files", "document", "visits"))
        if same:
            kept = read(folder)
            if kept is not None or (folder / FILE).is_file():
                return kept
    found = verify_logs(documents.site_of(document), logs, outages=outages, verdicts=verdicts, progress=progress)
    return found if found.changes else None


def write(verification: Verification | None, folder: Path) -> None:
    """Write a verification beside the analysis it belongs to."""
    content = None if verification is None else saved.encoded(verification)
    (folder / FILE).write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")


@functools.lru_cache(maxsize=64)
def read(folder: Path) -> Verification | None:
    """Read the verification of an analysis; what is kept never changes."""
    path = folder / FILE
    if not path.is_file():
        return None
    content = json.loads(path.read_text(encoding="utf-8"))
    found: Verification | None = None if content is None else saved.decoded(content, Verification)
    return found


def latest(ws: Workspace, building: str) -> Verification | None:
    """Return the verification that belongs to the newest analysis of a building; ``None`` where nothing could be verified yet."""
    with ws.reading() as session:
        row = analyses.latest_row(session, building)
        folder = None if row is None else row.folder
    return None if folder is None else read(ws.building_folder(building) / "results" / folder)


def set_anew(ws: Workspace, building: str, since: Iterable[dt.datetime], *, by: str) -> bool:
    """Write what was set into the laid-out folder, and have it verified where the analysed log reaches beyond; tells whether it does.

    Parameters
    ----------
    since
        When the channels were set, or were said to be. UTC
    """
    files.lay_out(ws, building)
    end = log_end(ws, building)
    if end is None or not any(when < end for when in since):
        return False
    # No room is analysed again that has not changed.
    jobs.ask(ws, building, "analyse", by=by, rooms=[])
    return True


def log_end(ws: Workspace, building: str) -> dt.datetime | None:
    """When the log of the newest analysis ends, UTC; ``None`` before the first."""
    with ws.reading() as session:
        query = select(AnalysisRow.id).where(AnalysisRow.building == building).order_by(AnalysisRow.id.desc())
        number = session.scalar(query.limit(1))
    ends = [] if number is None else [c.end for c in analyses.summary(ws, building, number).channels if c.end]
    return max(ends, default=None)
