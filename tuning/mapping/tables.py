"""Files of any kind → tables: their column names and the first rows, files of one kind together."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from tuning.errors import TuningError
from tuning.logs.header import Header
from tuning.logs.notes import Notes
from tuning.logs.sources import is_log, open_log

LOOKED_AT = 200_000
"""Rows of a file that are looked at; a wide log of minutes shows four months in them. Chosen by us."""
MOST_FILES = 6
"""Files of one kind that are looked at whole; of the others only the header. Chosen by us."""


@dataclass(frozen=True)
class Look:
    """The first rows of one table.

    ``frame`` has the columns "0", "1" and so on, in the order of ``names``; ``whole`` says whether the file has no more rows. ``stem`` is
    the name of the file, or of the member of an archive, without its ending.
    """

    file: Path
    stem: str
    names: tuple[str, ...]
    frame: pl.DataFrame
    whole: bool


@dataclass(frozen=True)
class Kind:
    """Tables with the same header."""

    names: tuple[str, ...]
    looks: tuple[Look, ...]
    files: tuple[Path, ...]


def kinds_of(
    folder: Path, *, progress: Callable[[float, str], None], aside: Collection[Path] = ()
) -> tuple[list[Kind], list[str]]:
    """Look at every log of a folder.

    Returns
    -------
    Files by header, in order of their names; and a line per file that nothing can be made of.
    """
    paths = [path for path in sorted(folder.iterdir()) if is_log(path) and path not in aside]
    found: dict[tuple[str, ...], list[Look]] = {}
    files: dict[tuple[str, ...], list[Path]] = {}
    problems = []
    for done, path in enumerate(paths):
        progress(done / len(paths), f"looking at {path.name}")
        try:
            path.name.encode("utf-8")
            for look in _looks(path, {names: len(looks) for names, looks in found.items()}):
                found.setdefault(look.names, []).append(look)
                if path not in files.setdefault(look.names, []):
                    files[look.names].append(path)
        except TuningError as error:
            problems.append(str(error))
        except UnicodeEncodeError:
            problems.append(f"{path.name!r}: the name is not UTF-8. Rename the file.")
    return [Kind(names, tuple(looks), tuple(files[names])) for names, looks in found.items()], problems


def _looks(path: Path, known: dict[tuple[str, ...], int]) -> list[Look]:
    looks = []
    with closing(open_log(path, Header(), Notes())) as opened:
        for source in opened:
            names = tuple(source.names)
            most = LOOKED_AT if known.get(names, 0) < MOST_FILES else 1000
            parts, rows, whole = [], 0, True
            for batch in source.batches(range(len(names))):
                parts.append(batch.frame.head(most - rows))
                rows += parts[-1].height
                if rows >= most:
                    whole = batch.share >= 1.0 and batch.frame.height == parts[-1].height
                    break
            frame = pl.concat(parts, how="vertical_relaxed") if parts else _no_rows(len(names))
            member = source.path.name.partition(": ")[2] if source.path != path else path.name
            odd = [c for c, kind in frame.schema.items() if kind.is_nested() or kind in (pl.Binary, pl.Object)]
            frame = frame.with_columns(pl.lit(None, dtype=pl.String).alias(c) for c in odd)
            looks.append(
                Look(path, re.split(r"\.(?:csv|tsv|txt|parquet|xlsx|gz|zip)\b", member)[0], names, frame, whole)
            )
    return looks


def _no_rows(width: int) -> pl.DataFrame:
    return pl.DataFrame(schema={str(i): pl.String for i in range(width)})


def patterns_of(files: Sequence[Path], others: Sequence[Path]) -> tuple[str, ...]:
    """What fits these files and none of the others: one pattern if there is one, else each name."""
    names = [path.name for path in files]
    if len(names) > 1:
        first, last = min(names), max(names)
        begin = next((i for i, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), len(first))
        backward = [name[::-1] for name in names]
        low, high = min(backward), max(backward)
        end = next((i for i, (a, b) in enumerate(zip(low, high, strict=False)) if a != b), len(low))
        prefix = re.sub(r"\d+$", "", first[:begin])
        suffix = re.sub(r"^\d+", "", names[0][len(names[0]) - min(end, len(names[0]) - len(prefix)) :])
        pattern = f"{_literal(prefix)}*{_literal(suffix)}"
        if not any(path.match(pattern) for path in others) and all(path.match(pattern) for path in files):
            return (pattern,)
    return tuple(_literal(name) for name in names)


def _literal(name: str) -> str:
    return re.sub(r"([*?[])", r"[\1]", name)
