"""Files → lazy frames of raw columns, whatever the container, delimiter or encoding."""

from __future__ import annotations

import csv
import gzip
import io
import zipfile
from collections.abc import Iterator
from pathlib import Path

import polars as pl
from polars.exceptions import PolarsError

from tuning.errors import LogError

DELIMITERS = ",;\t|"
MAX_UNPACKED = 4 * 1024**3
"""Largest size a compressed log may unpack to [B]; beyond it is taken for a decompression bomb. Chosen by us."""
SUFFIXES = (".csv", ".txt", ".tsv", ".parquet", ".xlsx", ".gz", ".zip")


def is_log(path: Path) -> bool:
    """Whether a file is read as a log when site.toml does not say which are."""
    return path.is_file() and path.suffix.lower() in SUFFIXES and not path.name.startswith(("~", "."))


def open_log(path: Path) -> list[pl.LazyFrame]:
    """Open a log as lazy frames of raw columns; text stays text, typed files keep their types.

    Raises
    ------
    LogError
        If the file is cut, empty, binary, in an unknown encoding, or unpacks beyond the limit.
    """
    suffix = path.suffix.lower()
    if path.stat().st_size == 0:
        raise LogError(path, "", "the file is empty", "A log has a header line and rows", "export it again")
    if suffix == ".parquet":
        return [_parquet(path)]
    if suffix == ".xlsx":
        return [_excel(path)]
    if suffix == ".gz":
        return [_text(path, _gunzip(path))]
    if suffix == ".zip":
        return [_text(path, data) for data in _unzip(path)]
    return [_csv(path)]


def _parquet(path: Path) -> pl.LazyFrame:
    try:
        frame = pl.scan_parquet(path)
        frame.collect_schema()
    except (PolarsError, OSError) as error:
        raise LogError(
            path,
            "",
            f"not a whole Parquet file ({_first_line(error)})",
            "A Parquet file ends with its own index",
            "copy it again, it may be cut off",
        ) from error
    return frame


def _excel(path: Path) -> pl.LazyFrame:
    try:
        return pl.read_excel(path, engine="calamine", infer_schema_length=None).lazy()
    except Exception as error:
        raise LogError(
            path,
            "",
            f"not a readable Excel file ({_first_line(error)})",
            "The first sheet holds the log",
            "save it again or export CSV",
        ) from error


def _gunzip(path: Path) -> bytes:
    try:
        with gzip.open(path) as stream:
            data = stream.read(MAX_UNPACKED + 1)
    except (OSError, EOFError) as error:
        raise LogError(
            path, "", f"not a whole gzip file ({_first_line(error)})", "The archive must be complete", "copy it again"
        ) from error
    return _bounded(path, data)


def _unzip(path: Path) -> Iterator[bytes]:
    try:
        with zipfile.ZipFile(path) as archive:
            members = [m for m in archive.infolist() if not m.is_dir()]
            if sum(m.file_size for m in members) > MAX_UNPACKED:
                raise LogError(
                    path,
                    "",
                    "unpacks to more than 4 GiB",
                    "Archives may unpack to 4 GiB",
                    "unpack it yourself and split it",
                )
            for member in members:
                with archive.open(member) as stream:
                    yield _bounded(path, stream.read(MAX_UNPACKED + 1))
    except (zipfile.BadZipFile, OSError, EOFError, RuntimeError) as error:
        raise LogError(
            path, "", f"not a whole zip file ({_first_line(error)})", "The archive must be complete", "copy it again"
        ) from error


def _bounded(path: Path, data: bytes) -> bytes:
    if len(data) > MAX_UNPACKED:
        raise LogError(
            path, "", "unpacks to more than 4 GiB", "Archives may unpack to 4 GiB", "unpack it yourself and split it"
        )
    return data


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:120]


def _csv(path: Path) -> pl.LazyFrame:
    with path.open("rb") as stream:
        head = stream.read(65536)
    if _encoding(path, head) in ("utf-8", "ascii"):
        return _scan(path, path, head)
    return _text(path, path.read_bytes())


def _encoding(path: Path, head: bytes) -> str:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8"
    if b"\x00" in head:
        raise LogError(
            path, "", "binary content", "A CSV log is text in UTF-8, UTF-16 or Latin-1", "export it again as CSV"
        )
    try:
        head[: max(len(head) - 3, 1)].decode("utf-8")
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def _text(path: Path, data: bytes) -> pl.LazyFrame:
    if not data.strip():
        raise LogError(path, "", "the file is empty", "A log has a header line and rows", "export it again")
    encoding = _encoding(path, data[:65536])
    try:
        utf8 = data if encoding == "utf-8" else data.decode(encoding).encode("utf-8")
    except UnicodeDecodeError as error:
        raise LogError(
            path,
            f"byte {error.start}",
            f"not {encoding} text",
            "A CSV log is text in one encoding",
            "export it again as UTF-8",
        ) from error
    return _scan(path, io.BytesIO(utf8.removeprefix(b"\xef\xbb\xbf")), utf8[:65536])


def _delimiter(path: Path, head: bytes) -> str:
    lines = head.decode("utf-8", errors="replace").lstrip("\ufeff").splitlines()
    header = next((line for line in lines if line.strip()), "")
    best = max(DELIMITERS, key=header.count)
    if header.count(best) == 0:
        raise LogError(
            path,
            "row 1",
            f"the header {header[:60]!r} has one column",
            "A CSV log has columns apart by comma, semicolon, tab or bar",
            "export it again",
        )
    return best


def _scan(path: Path, source: Path | io.BytesIO, head: bytes) -> pl.LazyFrame:
    separator = _delimiter(path, head)
    try:
        frame = pl.scan_csv(
            source, separator=separator, infer_schema=False, encoding="utf8", row_index_name=ROW, row_index_offset=2
        )
        frame.collect_schema()
    except (PolarsError, OSError) as error:
        raise csv_error(path, error) from error
    return frame


ROW = "__row__"


def csv_error(path: Path, error: Exception) -> LogError:
    """Name the row that does not fit, by reading the file once more, slowly."""
    try:
        head = path.read_bytes()[:65536]
        separator = _delimiter(path, head)
        with path.open(encoding=_encoding(path, head), errors="replace", newline="") as stream:
            width = None
            for row_number, row in enumerate(csv.reader(stream, delimiter=separator), start=1):
                width = width or len(row)
                if row and len(row) != width:
                    return LogError(
                        path,
                        f"row {row_number}",
                        f"{len(row)} fields where the header has {width}",
                        "Every row has as many fields as the header",
                        "mend or delete that row",
                    )
    except (OSError, csv.Error, LogError):
        pass
    return LogError(
        path,
        "",
        f"not a readable CSV file ({_first_line(error)})",
        "Every row has as many fields as the header",
        "export it again",
    )
