"""What is noticed while reading, counted as it goes and told as findings at the end."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from tuning.results import Finding, Severity

MOST_FILES = 5
"""How many file names a finding shows."""

_TEXTS: dict[str, tuple[Severity, str]] = {
    "clock-back": ("info", "{rows} in the hour that occurs twice when clocks go back; their order tells which of the two"),
    "clock-forward": ("info", "{rows} in the hour that clocks skip; read as after the change"),
    "comma-ambiguous": ("warning", "{rows} with a value like 1,234: the comma is read as the decimal mark"),
    "conflicting-rows": ("warning", "{rows} with another value for the same time of the same series; the last one stands"),
    "cut-off": ("warning", "{rows} cut off at the end of a file; left out"),
    "date-order": ("warning", "dates such as 03/02 are read as {what}; give time_format in [[logs]] if that is wrong"),
    "decaying-motion": ("info", "{rows} of {what} lie between 0 and 1: motion that fades after each movement; a rise counts as one, fading as none"),
    "duplicate-rows": ("info", "{rows} twice; each counts once"),
    "empty-file": ("warning", "{what} has a header and no rows"),
    "empty-values": ("info", "{rows} without a value; left out"),
    "impossible-times": ("warning", "{rows} with a time before 1990 or after 2099; left out"),
    "impossible-values": ("warning", "{rows} with {what}; left out"),
    "motion-shares": ("info", "{rows} of {what} lie between 0 and 1: shares of a sample in which there was movement; any counts as movement"),
    "missing-column": ("warning", "column {what} is not in {rows}"),
    "missing-point": ("warning", "point {what} is in no file of its [[logs]]"),
    "out-of-order": ("info", "{rows} out of order; sorted by time"),
    "output-of-one": ("warning", "{rows} of {what} never exceed 1: output is in percent; if this is a share of one, or on and off, convert it"),
    "own-results": ("info", "{what} is a result of holdoff itself, not a log; left out"),
    "repeated-header": ("info", "{rows} that repeat the header; left out"),
    "short-rows": ("warning", "{rows} with fewer fields than the header; the missing ones count as empty"),
    "stamp-unused": ("warning", "series {what} comes at no regular interval, so stamp = \"end\" moves nothing in it"),
    "unknown-channel": ("warning", "{rows} of channel {what}, which site.toml does not name; they count for no channel"),
    "unknown-room": ("warning", "{rows} of rooms that site.toml does not name ({what}); left out"),
    "unmapped-columns": ("info", "columns that site.toml does not map are left out: {what}"),
    "unmapped-points": ("info", "{rows} of points that site.toml does not map are left out: {what}"),
    "unmatched-files": ("warning", "no file fits {what} of [[logs]]"),
}  # fmt: skip


@dataclass
class Notes:
    """Counts by code and by what they are about."""

    _rows: Counter[tuple[str, str]] = field(default_factory=Counter)
    _files: defaultdict[tuple[str, str], set[str]] = field(default_factory=lambda: defaultdict(set))

    def count(self, code: str, rows: int, *, what: str = "", path: Path | None = None) -> None:
        """Add to a count; nothing is noted where ``rows`` is 0."""
        if rows == 0:
            return
        self._rows[code, what] += rows
        if path is not None:
            self._files[code, what].add(path.name)

    def specify(self, code: str, what: str) -> None:
        """Say what a count that was taken in general is about."""
        self._rows[code, what] = self._rows.pop((code, ""), 0)
        self._files[code, what] = self._files.pop((code, ""), set())

    def findings(self) -> tuple[Finding, ...]:
        """Tell everything that was counted, by code."""
        return tuple(self._finding(code, what, rows) for (code, what), rows in sorted(self._rows.items()))

    def _finding(self, code: str, what: str, rows: int) -> Finding:
        severity, text = _TEXTS[code]
        unit = "file" if code == "missing-column" else "row"
        said = text.format(rows=f"{rows:,} {unit}{'' if rows == 1 else 's'}", what=what)
        evidence: dict[str, object] = {"rows": rows}
        if what:
            evidence["what"] = what
        files = sorted(self._files[code, what])
        if files:
            evidence["files"] = files[:MOST_FILES]
            said += f" ({', '.join(files[:MOST_FILES])}{', …' if len(files) > MOST_FILES else ''})"
        return Finding(code, severity, said + ".", evidence)
