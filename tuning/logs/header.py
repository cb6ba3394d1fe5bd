"""Where the header of a table is, and which delimiter makes it one."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tuning.errors import LogError
from tuning.logs.text import Block

DELIMITERS = ",;\t|"
HEADER_WITHIN = 100
"""The header is among so many first lines; exports put titles before it. Chosen by us."""
MOST_BETWEEN = 2
"""So many rows, of units or of data types, may stand between the header and the first time. Chosen by us."""
UNIT_WORDS = (
    "", "-", "lx", "lux", "klx", "fc", "%", "pct", "w", "kw", "va", "v", "a", "°c", "c", "ppm", "kwh", "wh", "s", "min", "0/1", "bool",
    "boolean", "binary", "on/off", "float", "int", "real", "string", "datetime", "timestamp", "yyyy-mm-dd hh:mm:ss", "dd.mm.yyyy hh:mm:ss",
    "dd/mm/yyyy hh:mm", "local", "utc",
)  # fmt: skip
"""What stands in a row of units (common practice, no source)."""


@dataclass(frozen=True)
class Header:
    """What a header must hold: all of ``every`` and, where ``some`` is not empty, at least one of those."""

    every: tuple[str, ...] = ()
    some: tuple[str, ...] = ()

    @property
    def unknown(self) -> bool:
        """Whether nothing is known of it, so that it must be recognised by the rows below it."""
        return not self.every and not self.some

    def hits(self, names: Sequence[str]) -> int:
        """How many of the wanted columns are there."""
        have = {tidy(name) for name in names}
        return sum(tidy(name) in have for name in (*self.every, *self.some))

    def complete(self, names: Sequence[str]) -> bool:
        """Whether these names are such a header."""
        have = {tidy(name) for name in names}
        return all(tidy(name) in have for name in self.every) and (
            not self.some or any(tidy(name) in have for name in self.some)
        )


def tidy(name: str) -> str:
    """Column name without what exports add: blanks, quotation marks, upper case."""
    return name.strip().strip('"').strip().casefold()


def find_header(block: Block, header: Header, path: Path) -> tuple[str, list[str], Block]:
    """Find the header among the first lines, and the delimiter by it.

    Returns
    -------
    Delimiter, names, and the block after the header. Where no line is the wanted header, the best or first line is
    returned, so that the caller can say which column is missing.

    Raises
    ------
    LogError
        If no line has more than one column; or, where nothing is known of the header, no rows with times stand below one.
    """
    if header.unknown:
        return _recognised(block, path)
    best: tuple[int, int, str, list[str], int] | None = None
    end = 0
    for number in range(HEADER_WITHIN):
        begin, end = end, block.data.find(b"\n", end) + 1
        if end == 0:
            break
        text = block.data[begin:end].decode("utf-8").strip("\r\n")
        for delimiter in DELIMITERS:
            names = _fields(text, delimiter)
            if len(names) < 2:
                continue
            if header.complete(names):
                return delimiter, names, Block(block.data[end:], block.line + number + 1, block.cut)
            key = (header.hits(names), len(names))
            if best is None or key > best[:2]:
                best = (*key, delimiter, names, end)
    if best is None:
        shown = block.data[:200].decode("utf-8", errors="replace").strip().split("\n")[0][:60]
        raise LogError(
            path,
            f"row {block.line}",
            f"found {shown!r}, which is one column",
            "A log has columns apart by comma, semicolon, tab or bar",
            "Export it again as CSV",
        )
    _, _, delimiter, names, end = best
    return delimiter, names, Block(block.data[end:], block.line + block.data.count(b"\n", 0, end), block.cut)


def _recognised(block: Block, path: Path) -> tuple[str, list[str], Block]:
    """Find a header of which nothing is known: names above rows that hold times, at the delimiter that makes the most of them."""
    lines = block.data.decode("utf-8").split("\n")[: HEADER_WITHIN + 1]
    found: list[tuple[float, int, str, int, list[str]]] = []
    for delimiter in DELIMITERS:
        rows = [_fields(line.strip("\r"), delimiter) for line in lines]
        index, share = header_row(rows)
        if index is not None:
            found.append((share, len(rows[index]), delimiter, index, rows[index]))
    if not found:
        raise LogError(
            path,
            "",
            f"no header among its first {HEADER_WITHIN} lines",
            "A log has a line of column names above rows with times",
            "Export it again with column names, or write such a line into it",
        )
    _, _, delimiter, index, names = max(found)
    end = 0
    for _ in range(index + 1):
        end = block.data.find(b"\n", end) + 1
    return delimiter, names, Block(block.data[end:], block.line + index + 1, block.cut)


_MOMENT = re.compile(
    r"""^\s*(?:
        \d{1,4}\s?[-/.]\s?\d{1,2}\s?[-/.]\s?\d{1,4}(?!\d).*      # 2026-03-02 …, 02.03.26 …
      | \d{8}(?:[T _]?\d{4,6}.*)?                            # 20260302T080000
      | [^\W\d]{0,12}\.?,?\s*\d{1,2}[-\s.]+[^\W\d]{3,12}\.?[-\s,.]+\d{2,4}\b.*   # Mon 2 March 2026 …
      | [^\W\d]{3,12}\.?\s+\d{1,2},?\s+\d{4}\b.*            # March 2, 2026 …
      | \d{1,2}:\d{2}(?::\d{2})?\b.*                         # 08:00:00 2.3.2026
      | [1-3]?\d{9}(?:[.,]\d+)? | [1-3]?\d{12} | [1-3]?\d{15} | [1-3]?\d{18}   # epoch s, ms, µs, ns
    )$""",
    re.VERBOSE,
)


def is_moment(cell: str) -> bool:
    """Whether a cell looks like a date, a time, or both."""
    return len(cell) <= 60 and _MOMENT.match(cell) is not None


def header_row(rows: Sequence[Sequence[str]]) -> tuple[int | None, float]:
    """Find a header by what stands below it.

    Parameters
    ----------
    rows
        Fields of the first rows of a table.

    Returns
    -------
    Its index, None where there is none; and the share of the rows below that have its width and hold a time.
    """
    moments = [any(is_moment(cell) for cell in row) for row in rows]
    first = next((i for i in range(1, len(rows)) if moments[i] and len(rows[i]) > 1), None)
    if first is None:
        return None, 0.0
    # A row of units may stand between the names and the first time.
    for index in range(first - 1, max(first - 1 - MOST_BETWEEN, -1) - 1, -1):
        names = [cell.strip() for cell in rows[index]]
        width = len(names)
        while names and not names[-1]:
            names.pop()
        if len(names) < 2 or moments[index] or len(set(filter(None, names))) < len(list(filter(None, names))):
            continue
        if not all(not cell or any(c.isalpha() for c in cell) or len(cell) > 1 for cell in names):
            continue
        units = index > 0 and len(rows[index - 1]) == width and sum(is_unit(n) for n in names) * 2 > len(names)
        if units:
            continue
        below = [i for i in range(first, len(rows)) if rows[i] and any(cell.strip() for cell in rows[i])]
        right = sum(moments[i] and len(rows[i]) in (width, len(names), width - 1) for i in below)
        return index, right / max(len(below), 1)
    return None, 0.0


def is_unit(cell: str) -> bool:
    """Whether a cell holds nothing, or a unit and nothing else."""
    return cell.strip().strip("[]()").casefold() in UNIT_WORDS


def _fields(text: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([text], delimiter=delimiter), [])
    except (csv.Error, StopIteration):
        return text.split(delimiter)
