"""Delimited text → frames of text columns, in blocks, so that a file of any size takes little memory."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl
from polars.exceptions import PolarsError

from tuning.errors import LogError
from tuning.logs.notes import Notes

FIRST_BLOCK, BLOCK = 1 << 18, 1 << 23
"""Bytes read at a time: a small first block tells the layout quickly, 8 MiB ones keep polars busy. Chosen by us."""
LONGEST_LINE = 1 << 24
"""A longer line [B] is no row of a log. Chosen by us: 10,000 columns of 100 characters are 1 MB."""
CONTROL_SHARE = 0.02
"""Text with more control characters than this is not text. Chosen by us."""

MOST_SURPLUS = 8
"""So many empty fields may follow a row's last one; some exports end each row with delimiters. Chosen by us."""

Read = Callable[[int], bytes]


@dataclass(frozen=True)
class Block:
    """Whole records of a text, as UTF-8 bytes, and the number of the first line."""

    data: bytes
    line: int
    cut: bool = False
    """Whether the text ended here without a line end."""


def encoding_of(head: bytes, path: Path) -> str:
    """Recognise the encoding by byte order mark, NUL bytes and validity.

    Raises
    ------
    LogError
        If the bytes are not text.
    """
    for mark, name in ((codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF8, "utf-8-sig")):
        if head.startswith(mark):
            return name
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    sample = np.frombuffer(head[: len(head) // 2 * 2], dtype=np.uint8)
    if len(sample) and (sample == 0).any():
        # ASCII in UTF-16 has a NUL in every second byte.
        if (sample[1::2] == 0).mean() > 0.8 and not (sample[0::2] == 0).any():
            return "utf-16-le"
        if (sample[0::2] == 0).mean() > 0.8 and not (sample[1::2] == 0).any():
            return "utf-16-be"
        raise _binary(path)
    control = (sample < 32) & ~np.isin(sample, (9, 10, 12, 13))
    if len(sample) and control.mean() > CONTROL_SHARE:
        raise _binary(path)
    return "utf-8"


def _binary(path: Path) -> LogError:
    return LogError(
        path, "", "the content is binary", "A log is CSV text, Parquet or Excel", "Export it again in one of these"
    )


def _utf8(read: Read, first: bytes, path: Path) -> Iterator[bytes]:
    """Bytes of the text in UTF-8, or in Latin-1 which is told apart block by block in :func:`blocks`."""
    encoding = encoding_of(first, path)
    if encoding in ("utf-8", "utf-8-sig"):
        yield first.removeprefix(codecs.BOM_UTF8)
        while data := read(BLOCK):
            yield data
        return
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        data = first
        while data:
            yield decoder.decode(data).encode("utf-8")
            data = read(BLOCK)
        yield decoder.decode(b"", final=True).encode("utf-8")
    except UnicodeError as error:
        raise LogError(
            path,
            "",
            f"not whole {encoding.upper()} text ({error.args[-1]})",
            "A log is text in one encoding from end to end",
            "Copy it again, or export it as UTF-8",
        ) from error


def blocks(read: Read, path: Path) -> Iterator[Block]:
    """Cut a text into blocks of whole records.

    Raises
    ------
    LogError
        If it is empty or binary, in no known encoding, holds NUL bytes, an endless line or an open quotation mark.
    """
    first = read(FIRST_BLOCK)
    if not first:
        raise LogError(path, "", "the file is empty", "A log has a header line and rows", "Export it again")
    old_mac = b"\r" in first and b"\n" not in first
    rest, line = b"", 1
    for data in _utf8(read, first, path):
        buffer = rest + (data.replace(b"\r", b"\n") if old_mac else data)
        end = _last_record_end(buffer)
        if end == 0:
            if len(buffer) > LONGEST_LINE:
                raise _endless(path, buffer, line)
            rest = buffer
            continue
        yield _checked(Block(buffer[:end], line), path)
        line += buffer.count(b"\n", 0, end)
        rest = buffer[end:]
    if rest.strip():
        if rest.count(b'"') % 2:
            raise _endless(path, rest, line)
        yield _checked(Block(rest + b"\n", line, cut=True), path)


def _endless(path: Path, buffer: bytes, line: int) -> LogError:
    if b'"' in buffer:
        return LogError(
            path,
            f"row {line}",
            "a quotation mark opens here and does not close",
            "Quotation marks come in pairs around a field",
            "Mend that row",
        )
    return LogError(
        path,
        f"row {line}",
        f"the line is longer than {LONGEST_LINE >> 20} MiB",
        "A log has one short line per row",
        "Export it again as CSV",
    )


def _last_record_end(buffer: bytes) -> int:
    """Where the last whole record ends: after a line end that no quotation marks enclose."""
    end = buffer.rfind(b"\n") + 1
    if end == 0 or buffer.count(b'"', 0, end) % 2 == 0:
        return end
    found = np.flatnonzero(_outside(buffer) & (np.frombuffer(buffer, dtype=np.uint8) == 10))
    return int(found[-1]) + 1 if len(found) else 0


def _outside(data: bytes) -> npt.NDArray[np.bool_]:
    """Which bytes lie outside quotation marks."""
    quote = (np.frombuffer(data, dtype=np.uint8) == 34).astype(np.uint8)
    return np.bitwise_xor.accumulate(quote) == 0


def _checked(block: Block, path: Path) -> Block:
    nul = block.data.find(b"\x00")
    if nul >= 0:
        line = block.line + block.data.count(b"\n", 0, nul)
        raise LogError(
            path,
            f"row {line}",
            "NUL bytes in the text",
            "They are left where a logger lost power while writing",
            "Delete that row",
        )
    if block.data.isascii():
        return block
    try:
        block.data.decode("utf-8")
    except UnicodeDecodeError:
        return Block(block.data.decode("latin-1").encode("utf-8"), block.line, block.cut)
    return block


@dataclass(frozen=True)
class _Records:
    """Where the records of a block lie, as quotation marks have it."""

    fields: npt.NDArray[np.int64]
    starts: npt.NDArray[np.int64]
    lines: npt.NDArray[np.int64]

    @staticmethod
    def of(block: Block, delimiter: str) -> _Records:
        raw, outside = np.frombuffer(block.data, dtype=np.uint8), _outside(block.data)
        ends = np.flatnonzero((raw == 10) & outside)
        starts = np.append(0, ends[:-1] + 1)
        delimiters = np.flatnonzero((raw == ord(delimiter)) & outside)
        fields = np.diff(np.searchsorted(delimiters, ends), prepend=0) + 1
        return _Records(fields, starts, block.line + np.searchsorted(np.flatnonzero(raw == 10), starts))


def row_of(block: Block, delimiter: str) -> Callable[[int], int]:
    """Which line of the file a row of the block's frame is; looked up only where something is to be said of it."""
    return lambda index: int(_Records.of(block, delimiter).lines[index])


def read_block(block: Block, delimiter: str, width: int, path: Path, notes: Notes) -> tuple[Block, pl.DataFrame]:
    """Read a block as text columns named "0", "1" and so on.

    Returns
    -------
    The block without leading blank lines and a cut-off last row, and its frame, row for row.

    Raises
    ------
    LogError
        If a row has more fields than the header, or quotation marks where none can be.
    """
    data = block.data.lstrip(b"\r\n")
    block = Block(data, block.line + block.data.count(b"\n", 0, len(block.data) - len(data)), block.cut)
    if block.cut:
        block = _without_cut_row(block, delimiter, width, path, notes)
    if not block.data:
        return block, pl.DataFrame(schema={str(i): pl.String for i in range(width)})
    try:
        frame = _parse(block.data, delimiter, width)
    except PolarsError:
        frame = _ragged(block, delimiter, width, path)
    outside = block.data if b'"' not in block.data else _unquoted(block.data)
    if outside.count(delimiter.encode()) != frame.height * (width - 1):
        short = np.flatnonzero(_Records.of(block, delimiter).fields < width)
        said = frame[short].select(pl.any_horizontal(pl.all().str.strip_chars().fill_null("") != ""))
        notes.count("short-rows", int(said.to_series().sum()), path=path)
    return block, frame


def _unquoted(data: bytes) -> bytes:
    return np.frombuffer(data, dtype=np.uint8)[_outside(data)].tobytes()


def _parse(data: bytes, delimiter: str, width: int) -> pl.DataFrame:
    names = [str(i) for i in range(width)]
    # With a header of its own the width does not hang on the first row, which may be short.
    header = delimiter.join(names).encode() + b"\n"
    return pl.read_csv(header + data, separator=delimiter, schema=dict.fromkeys(names, pl.String), infer_schema=False)


def _without_cut_row(block: Block, delimiter: str, width: int, path: Path, notes: Notes) -> Block:
    """Leave out a last row that the end of the file cuts off."""
    begin = _last_record_end(block.data[:-1])
    fields = block.data[begin:].count(delimiter.encode()) + 1
    if fields >= width or b'"' in block.data[begin:]:
        return block
    notes.count("cut-off", 1, path=path)
    return Block(block.data[:begin], block.line)


def _ragged(block: Block, delimiter: str, width: int, path: Path) -> pl.DataFrame:
    """Read a block that polars refused: drop surplus delimiters at the ends of rows, or name the row that is wrong."""
    records = _Records.of(block, delimiter)
    widest = max(int(records.fields.max()), width)
    first_long = int((records.fields > width).argmax())
    if widest > width + MOST_SURPLUS:
        raise _surplus(path, records, first_long, width)
    try:
        frame = _parse(block.data, delimiter, widest)
    except PolarsError as error:
        raise _misquoted(block, records, delimiter, widest, path) from error
    surplus = frame.select(pl.any_horizontal(pl.nth(range(width, widest)).str.strip_chars().fill_null("") != ""))
    filled = surplus.to_series().arg_true() if widest > width else pl.Series([], dtype=pl.UInt32)
    if len(filled):
        raise _surplus(path, records, int(filled[0]), width)
    return frame.select(pl.nth(range(width)))


def _misquoted(block: Block, records: _Records, delimiter: str, width: int, path: Path) -> LogError:
    """Halve the block until the row that polars refuses is left."""
    bounds = np.append(records.starts, len(block.data))
    low, high = 0, len(records.starts)
    while high - low > 1:
        middle = (low + high) // 2
        try:
            _parse(block.data[bounds[low] : bounds[middle]].lstrip(b"\r\n") or b" \n", delimiter, width)
            low = middle
        except PolarsError:
            high = middle
    return LogError(
        path,
        f"row {records.lines[low]}",
        "a quotation mark stands inside a field",
        "Quotation marks come in pairs around a whole field",
        "Mend that row",
    )


def _surplus(path: Path, records: _Records, index: int, width: int) -> LogError:
    return LogError(
        path,
        f"row {records.lines[index]}",
        f"{records.fields[index]} fields where the header has {width}",
        "Every row has as many fields as the header",
        "Mend or delete that row",
    )
