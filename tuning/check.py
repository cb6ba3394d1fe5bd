"""``holdoff check``: a building folder in, what is wrong with its logs and rooms out. Joins the steps; measures nothing itself."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tuning.logs import Logs, read_logs
from tuning.motion import US, Floats, Ints
from tuning.pipeline import Progress, analyse_logs
from tuning.quality import Outage, find_outages
from tuning.quality.days import LeftOut, hours_inside, left_out, midnights
from tuning.quality.series import SeriesCheck, check_series
from tuning.results import Analysis, ChannelResult, Finding
from tuning.site import Site, read_site


@dataclass(frozen=True)
class ChannelCheck:
    """One channel: what of its log counts, and the hold-off as documented and as seen. [s]."""

    result: ChannelResult
    left_out: tuple[LeftOut, ...]
    documented_s: float | None

    @property
    def usable(self) -> bool:
        """Whether anything can be said of it."""
        return self.result.start is not None


@dataclass(frozen=True)
class Check:
    """A whole building.

    Attributes
    ----------
    days, covered_h, day_h
        Local days, hours covered by each series on each (series, days), and how many hours of each day the log spans.
    rows
        Rows of each series on each day, shape (series, days).
    """

    analysis: Analysis
    series: tuple[SeriesCheck, ...]
    channels: tuple[ChannelCheck, ...]
    outages: tuple[Outage, ...]
    days: tuple[dt.date, ...]
    covered_h: Floats
    day_h: Floats
    rows: Ints

    @property
    def usable(self) -> bool:
        """Whether any channel has a usable motion log."""
        return any(c.usable for c in self.channels)


def check_folder(folder: Path, *, progress: Progress | None = None) -> Check:
    """Read and check a building folder.

    Raises
    ------
    TuningError
        If the folder, its ``site.toml`` or a log has a problem that a person can mend.
    """
    site = read_site(folder)
    say = progress or (lambda _share, _what: None)
    logs = read_logs(folder, site, progress=lambda share, what: say(0.4 * share, what))
    outages = find_outages(logs)
    analysis = analyse_logs(site, logs, progress=lambda share, what: say(0.4 + 0.5 * share, what), outages=outages)
    say(0.9, "checking series")
    return check_logs(site, logs, analysis, outages)


def check_logs(site: Site, logs: Logs, analysis: Analysis, outages: tuple[Outage, ...]) -> Check:
    """Check logs already read and analysed, with the silences found in them. See :func:`check_folder`."""
    series = check_series(logs)
    span = _span_us(logs)
    days, edges = midnights(span, site.zone)
    inside = np.clip(edges, *span)
    covered = np.array([hours_inside(s.covered_us, inside) for s in series]).reshape(len(series), len(days))
    channels = [_channel(site, span, outages, result) for result in analysis.channels]
    rows = np.array([np.diff(np.searchsorted(s.times_us, edges)) for s in series]).reshape(len(series), len(days))
    day_h = np.diff(inside) / US / 3600
    return Check(analysis, tuple(series), tuple(channels), outages, tuple(days), covered, day_h, rows)


def _span_us(logs: Logs) -> tuple[int, int]:
    if logs.start is None or logs.end is None:
        return 0, 0
    return round(logs.start.timestamp() * US), round(logs.end.timestamp() * US)


def _channel(site: Site, span: tuple[int, int], outages: tuple[Outage, ...], result: ChannelResult) -> ChannelCheck:
    covered: Ints = np.array(result.covered_us, dtype=np.int64).reshape(-1, 2)
    dead = any(f.code == "detector-dead" and f.severity == "blocking" for f in result.findings)
    missing = left_out(
        covered, span, site.zone, outages=outages, dead_from_us=int(covered[-1, 1]) if dead and len(covered) else None
    )
    return ChannelCheck(result, tuple(missing), site.rooms[result.room].channels[result.channel].hold_off_s)


def _finding(f: Finding) -> dict[str, Any]:
    return {"code": f.code, "severity": f.severity, "message": f.message, "evidence": f.evidence}


def _time(t_us: int) -> str:
    return dt.datetime.fromtimestamp(t_us / US, tz=dt.UTC).isoformat()


def check_document(check: Check) -> dict[str, Any]:
    """Return the whole check as a JSON document."""
    return {
        "site": check.analysis.site,
        "generated": check.analysis.generated.isoformat().replace("+00:00", "Z"),
        "version": check.analysis.version,
        "usable": check.usable,
        "outages": [
            {"start": _time(o.start_us), "end": _time(o.end_us), "hours": round(o.hours, 2)} for o in check.outages
        ],
        "series": [_series_document(check, i, s) for i, s in enumerate(check.series)],
        "channels": [_channel_document(c) for c in check.channels],
        "findings": [_finding(f) for f in check.analysis.findings],
    }


def _series_document(check: Check, number: int, s: SeriesCheck) -> dict[str, Any]:
    comes = s.wait_s is not None
    days = [
        {
            "day": day.isoformat(),
            "rows": int(rows),
            "covered_h": round(float(covered), 2) if comes else None,
            "of_h": round(float(whole), 2),
        }
        for day, rows, covered, whole in zip(
            check.days, check.rows[number], check.covered_h[number], check.day_h, strict=True
        )
    ]
    return {
        "room": s.room,
        "channel": s.channel,
        "detector": s.detector,
        "quantity": s.quantity,
        "rows": s.rows,
        "first": _time(s.first_us),
        "last": _time(s.last_us),
        "sampling": s.sampling,
        "wait_s": s.wait_s,
        "gaps": s.gaps,
        "longest_gap_h": round(s.longest_gap_h, 2),
        "lowest": s.lowest,
        "median": s.median,
        "highest": s.highest,
        "faults": list(s.faults),
        "days": days,
    }


def _channel_document(c: ChannelCheck) -> dict[str, Any]:
    r = c.result
    return {
        "room": r.room,
        "channel": r.channel,
        "usable": c.usable,
        "days": round(r.days, 3),
        "usable_days": round(r.usable_days, 3),
        "left_out": [{"day": d.day.isoformat(), "hours": d.hours, "why": d.why} for d in c.left_out],
        "hold_off": {
            "documented_s": c.documented_s,
            "observed_s": r.observed_hold_off_s and round(r.observed_hold_off_s, 1),
        },
        "decision": r.decision,
        "findings": [_finding(f) for f in r.findings],
    }
