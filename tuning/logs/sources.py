"""Files of any container → batches of raw columns."""

from __future__ import annotations

import gzip
import io
import zipfile
import zlib
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Final

import fastexcel
import polars as pl
from polars.exceptions import PolarsError

from tuning.errors import LogError
from tuning.logs.header import Header, find_header, header_row
from tuning.logs.notes import Notes
from tuning.logs.text import BLOCK, Block, blocks, read_block, row_of

SUFFIXES = (".csv", ".tsv", ".parquet", ".xlsx", ".csv.gz", ".tsv.gz", ".zip")
"""What is a log where site.toml does not say which files are."""
GIB = 1024**3
BATCH_ROWS = 1 << 18


@dataclass
class Bounds:
    """What a packed or large file may hold. All chosen by us."""

    unpacked: int = 8 * GIB
    """An archive may unpack to so much [B]."""
    ratio: int = 500
    ratio_from: int = GIB // 4
    """Beyond ``ratio_from`` bytes nothing but a decompression bomb unpacks to ``ratio`` times its size."""
    held: int = GIB
    """A Parquet or Excel file inside an archive is held in memory whole [B]."""
    workbook: int = GIB // 2
    """A workbook may unpack to so much [B]; a full sheet of five columns has about 200 MB."""
    rows: int = 500_000_000
    """Rows of one file: 16 years of a reading every second."""


BOUNDS: Final = Bounds()
"""Of this process. A program that reads for others may set them, before it reads."""


@dataclass(frozen=True)
class Batch:
    """Some rows of a file: columns named "0", "1", …, and where they stand."""

    frame: pl.DataFrame
    row: Callable[[int], int]
    """Row of the file, as a person finds it, of a row of the frame."""
    share: float
    """Share of the file that is read once this batch is."""


@dataclass(frozen=True)
class Source:
    """An opened table: names of its columns, and batches of those that are asked for by position."""

    path: Path
    names: list[str]
    batches: Callable[[Sequence[int]], Iterator[Batch]]


def is_log(path: Path) -> bool:
    """Whether a file is read as a log where site.toml does not say which are."""
    return path.name.lower().endswith(SUFFIXES) and not path.name.startswith(("~", ".")) and path.is_file()


def open_log(path: Path, header: Header, notes: Notes) -> Generator[Source]:
    """Open a log, or all logs of an archive. Each source must be read before the next is asked for.

    Parameters
    ----------
    path
        The file; what it is, its first bytes say.
    header
        What to find the header by.
    notes
        Takes what is noticed.

    Raises
    ------
    LogError
        If the file cannot be read as what it is.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            yield from _open(path, stream, size, header, notes)
    except OSError as error:
        raise LogError(
            path,
            "",
            f"cannot be opened ({error.strerror or error})",
            "Logs are files that may be read",
            "Check its rights",
        ) from error


def _open(path: Path, stream: IO[bytes], size: int, header: Header, notes: Notes) -> Generator[Source]:
    head = stream.read(8)
    stream.seek(0)
    if head.startswith(b"PAR1") or path.suffix.lower() == ".parquet":
        yield _parquet(path, path if path.is_file() else stream)
    elif head.startswith(b"PK") and _is_excel(path, stream):
        yield _excel(path, stream, header)
    elif head.startswith(b"PK"):
        yield from _zip(path, stream, size, header, notes)
    elif head.startswith(b"\xd0\xcf\x11\xe0"):
        yield _excel(path, stream, header)
    elif head.startswith(b"\x1f\x8b"):
        yield from _gzip(path, stream, size, header, notes)
    elif path.suffix.lower() in (".xlsx", ".zip", ".gz"):
        kind = {".xlsx": "an Excel", ".zip": "a zip", ".gz": "a gzip"}[path.suffix.lower()]
        raise LogError(
            path,
            "",
            f"not {kind} file" + ("" if size else ", but empty"),
            "The end of a file's name says what is in it",
            "Export it again, or give it the right name",
        )
    else:
        yield _text(path, stream.read, lambda: stream.tell() / max(size, 1), header, notes)


def first_rows(opened: Generator[Source], most: int) -> Generator[Source]:
    """Cut every source short once ``most`` rows or more were read."""

    def cut(source: Source) -> Callable[[Sequence[int]], Iterator[Batch]]:
        def batches(wanted: Sequence[int]) -> Iterator[Batch]:
            rows = 0
            for batch in source.batches(wanted):
                yield Batch(batch.frame.head(most - rows), batch.row, batch.share)
                rows += batch.frame.height
                if rows >= most:
                    return

        return batches

    with closing(opened):
        for source in opened:
            yield Source(source.path, source.names, cut(source))


# Text ------------------------------------------------------------------------------------------------------------


def _text(path: Path, read: Callable[[int], bytes], share: Callable[[], float], header: Header, notes: Notes) -> Source:
    parts = blocks(read, path)
    first = next(parts, None)
    if first is None:
        raise LogError(path, "", "the file is empty", "A log has a header line and rows", "Export it again")
    delimiter, names, rest = find_header(first, header, path)

    def batches(wanted: Sequence[int]) -> Iterator[Batch]:
        yield _batch(rest, wanted)
        for block in parts:
            yield _batch(block, wanted)

    def _batch(block: Block, wanted: Sequence[int]) -> Batch:
        block, frame = read_block(block, delimiter, len(names), path, notes)
        return Batch(frame.select(str(i) for i in wanted), row_of(block, delimiter), share())

    return Source(path, names, batches)


# Containers ------------------------------------------------------------------------------------------------------


class _Unpacked:
    """Reads a member of an archive, and stops where it unpacks beyond reason."""

    def __init__(self, path: Path, kind: str, stream: IO[bytes], packed: int) -> None:
        self._path, self._kind, self._stream, self._packed, self._read = path, kind, stream, packed, 0

    def read(self, size: int) -> bytes:
        with _unpacking(self._path, self._kind):
            data = self._stream.read(size)
        self._read += len(data)
        bomb = self._read > BOUNDS.ratio_from and self._read > BOUNDS.ratio * max(self._packed, 1)
        if bomb or self._read > BOUNDS.unpacked:
            raise _too_large(self._path, f"{self._packed:,} bytes unpack to more than {self._read:,}")
        return data


def _too_large(path: Path, found: str) -> LogError:
    return LogError(
        path,
        "",
        found,
        f"Archives may unpack to {BOUNDS.unpacked / GIB:.3g} GiB and {BOUNDS.ratio} times their size",
        "Unpack it yourself and split it",
    )


@contextmanager
def _unpacking(path: Path, kind: str) -> Iterator[None]:
    """Turn what unpackers raise into one line."""
    try:
        yield
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError) as error:
        encrypted = "encrypted" in str(error) or "password" in str(error)
        raise LogError(
            path,
            "",
            "the archive is encrypted" if encrypted else f"not a whole {kind} file ({_first_line(error)})",
            "An archive must be complete and open",
            "Unpack it yourself" if encrypted else "Copy it again",
        ) from error


def _gzip(path: Path, stream: IO[bytes], size: int, header: Header, notes: Notes) -> Generator[Source]:
    with gzip.open(stream) as member:
        reader = _Unpacked(path, "gzip", member, size)  # type: ignore[arg-type]
        yield _member(path, reader, lambda: stream.tell() / max(size, 1), header, notes)


def _zip(path: Path, stream: IO[bytes], size: int, header: Header, notes: Notes) -> Generator[Source]:
    with _unpacking(path, "zip"):
        archive = zipfile.ZipFile(stream)
    with archive:
        members = [m for m in archive.infolist() if not m.is_dir() and not _hidden(m.filename)]
        if not members:
            raise LogError(path, "", "the archive holds no file", "It must hold logs", "Pack it again")
        for member in members:
            label = path.with_name(f"{path.name}: {PurePosixPath(member.filename).name}")
            with _unpacking(label, "zip"):
                opened = archive.open(member)
            with opened:
                reader = _Unpacked(label, "zip", opened, member.compress_size)
                yield _member(label, reader, lambda: stream.tell() / max(size, 1), header, notes)


def _hidden(name: str) -> bool:
    path = PurePosixPath(name)
    return path.name.startswith(".") or "__MACOSX" in path.parts


def _member(path: Path, reader: _Unpacked, share: Callable[[], float], header: Header, notes: Notes) -> Source:
    head = reader.read(8)
    if head.startswith((b"PAR1", b"PK", b"\xd0\xcf\x11\xe0")):
        held = io.BytesIO()
        held.write(head)
        while data := reader.read(BLOCK):
            held.write(data)
            if held.tell() > BOUNDS.held:
                raise _too_large(path, f"unpacks to more than {BOUNDS.held / GIB:.3g} GiB")
        held.seek(0)
        if head.startswith(b"PK") and not _is_excel(path, held):
            raise LogError(
                path, "", "an archive inside an archive", "Archives hold logs, not archives", "Unpack the outer one"
            )
        return _parquet(path, held) if head.startswith(b"PAR1") else _excel(path, held, header)
    pending = [head]
    return _text(path, lambda n: pending.pop() + reader.read(n) if pending else reader.read(n), share, header, notes)


# Typed files -----------------------------------------------------------------------------------------------------


def _parquet(path: Path, source: Path | IO[bytes]) -> Source:
    with _typed(path, "Parquet"):
        lazy = pl.scan_parquet(source)
        names = lazy.collect_schema().names()
        height = int(lazy.select(pl.len()).collect().item())
    if height > BOUNDS.rows:
        raise LogError(path, "", f"{height:,} rows", f"A file may hold {BOUNDS.rows:,}", "Split it")

    def batches(wanted: Sequence[int]) -> Iterator[Batch]:
        done = 0
        with _typed(path, "Parquet"):
            for frame in lazy.select(pl.nth(wanted)).collect_batches(chunk_size=BATCH_ROWS, maintain_order=True):
                frame.columns = [str(i) for i in wanted]
                yield Batch(frame, _counted(done + 1), (done + frame.height) / max(height, 1))
                done += frame.height
        if done != height:
            # Polars ends early, without an error, where decoding breaks down in one of its threads.
            raise _not_whole(path, "Parquet", f"{done:,} of {height:,} rows can be read")

    return Source(path, names, batches)


def open_frame(path: Path, frame: pl.DataFrame) -> Generator[Source]:
    """Open a frame in memory like a file."""

    def batches(wanted: Sequence[int]) -> Iterator[Batch]:
        for begin in range(0, frame.height, BATCH_ROWS):
            part = frame[:, list(wanted)].slice(begin, BATCH_ROWS)
            part.columns = [str(i) for i in wanted]
            yield Batch(part, _counted(begin + 1), min(1.0, (begin + BATCH_ROWS) / max(frame.height, 1)))

    yield Source(path, frame.columns, batches)


def _counted(first: int) -> Callable[[int], int]:
    return lambda index: first + index


def _is_excel(path: Path, stream: IO[bytes]) -> bool:
    """Tell an Excel workbook from any other zip archive, and refuse one that unpacks beyond reason."""
    excel = path.suffix.lower() == ".xlsx"
    try:
        with zipfile.ZipFile(stream) as archive:
            members = archive.infolist()
            excel = any(m.filename == "[Content_Types].xml" for m in members)
            size = sum(m.file_size for m in members)
            if excel and size > BOUNDS.workbook:
                raise _too_large(path, f"the workbook says it unpacks to {size:,} bytes")
            # What it says may be a lie: unpacking all of it, to no more than it says, tells.
            damaged = archive.testzip() if excel else None
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, RuntimeError) as error:
        raise _not_whole(path, "Excel" if excel else "zip", _first_line(error)) from error
    finally:
        stream.seek(0)
    if damaged is not None:
        raise _not_whole(path, "Excel", f"{damaged[:60]} in it is damaged")
    return excel


def _excel(path: Path, stream: IO[bytes], header: Header) -> Source:
    with _typed(path, "Excel"):
        sheet = fastexcel.read_excel(stream.read()).load_sheet(0, header_row=None, dtypes="string").to_polars()
    sheet.columns = [str(i) for i in range(sheet.width)]
    best, start = -1, 0
    rows = [[cell or "" for cell in cells] for cells in sheet.head(100).iter_rows()]
    if header.unknown:
        start = header_row(rows)[0] or 0
        rows = []
    for index, row in enumerate(rows):
        if header.complete(row):
            start = index
            break
        if header.hits(row) > best:
            best, start = header.hits(row), index
    names = [cell or "" for cell in sheet.row(start)] if sheet.height else []
    body = sheet[start + 1 :]

    def batches(wanted: Sequence[int]) -> Iterator[Batch]:
        yield Batch(body.select(str(i) for i in wanted), _counted(start + 2), 1.0)

    return Source(path, names, batches)


@contextmanager
def _typed(path: Path, kind: str) -> Iterator[None]:
    try:
        yield
    except (LogError, GeneratorExit):
        raise
    except (PolarsError, fastexcel.FastExcelError, pl.exceptions.PanicException, OSError, ValueError) as error:
        raise _not_whole(path, kind, _first_line(error)) from error


def _not_whole(path: Path, kind: str, detail: str) -> LogError:
    return LogError(
        path,
        "",
        f"not a whole {kind} file ({detail})",
        "A file must be complete to be read",
        "Copy it again, it may be cut off or damaged",
    )


def _first_line(error: BaseException) -> str:
    return (str(error).strip() or type(error).__name__).splitlines()[0][:120].rstrip(".")
