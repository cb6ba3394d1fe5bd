"""Bad inputs, made by code: (name, how to make the folder, what must come of it).

What must come is ``None`` for a result, or the beginning of the one line that a person is told. ``{}`` in it stands for the folder.
"""

import datetime as dt
import gzip
import io
import random
import zipfile
import zlib

import polars as pl

from tests.tuning.log_files import HEADER, MOTION, long_lines, put, workbook

GOOD = "\n".join(long_lines("2026-03-02T08:01:00Z,r101,wall,illuminance,431.5")) + "\n"
FRAME = pl.DataFrame(
    {
        "time": pl.datetime_range(dt.datetime(2026, 3, 1), dt.datetime(2026, 3, 8), "1m", eager=True),  # noqa: DTZ001
    }
).with_columns(room=pl.lit("r101"), channel=pl.lit(""), quantity=pl.lit("motion"), value=pl.int_range(pl.len()) % 2)


def parquet(frame, **options):
    buffer = io.BytesIO()
    frame.write_parquet(buffer, **options)
    return buffer.getvalue()


def xlsx(folder, rows=None):
    noon = dt.datetime(2026, 3, 2, 9)  # noqa: DTZ001
    return workbook(folder / "log.xlsx", rows or [HEADER.split(","), [noon, "r101", None, "motion", 1]]).read_bytes()


def zipped(members, *, method=zipfile.ZIP_DEFLATED):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def flip(content, seed, times=40):
    """Bytes changed at random."""
    rng, changed = random.Random(seed), bytearray(content)
    for _ in range(times):
        changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def one(content, name="log.csv"):
    return lambda folder: put(folder, name, content)


def row(text):
    return one(GOOD + text + "\n")


def gzip_bomb(folder):
    """256 MiB of zeros in 0.25 MB: it ends at the first 16 MiB, because no line ends."""
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    chunk = b"0" * (1 << 20)
    with (folder / "log.csv.gz").open("wb") as stream:
        stream.write(packer.compress((HEADER + "\n").encode()))
        for _ in range(256):
            stream.write(packer.compress(chunk))
        stream.write(packer.flush())


def many_equal_rows(folder):
    """150 MB of one and the same row in less than 1 MB."""
    block = (MOTION + "\n").encode() * 30_000
    with (
        zipfile.ZipFile(folder / "log.zip", "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("log.csv", "w") as member,
    ):
        member.write((HEADER + "\n").encode())
        for _ in range(150_000_000 // len(block)):
            member.write(block)


def declaring(content, name, size):
    """An archive whose directory says that a member unpacks to ``size`` bytes."""
    changed = bytearray(content)
    entry = content.rindex(b"PK\x01\x02", 0, content.rindex(name.encode()))
    changed[entry + 24 : entry + 28] = size.to_bytes(4, "little")
    return bytes(changed)


def large_workbook(folder):
    put(folder, "log.xlsx", declaring(xlsx(folder), "xl/styles.xml", 1_500_000_000))


def flipped_workbook(seed):
    return lambda folder: put(folder, "log.xlsx", flip(xlsx(folder), seed, 3))


def lying_workbook(folder):
    """A sheet of 100 MB in 100 kB, said to be of 2 kB."""
    xlsx(folder)
    with zipfile.ZipFile(folder / "log.xlsx", "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/fill.xml", b" " * 100_000_000)
    put(folder, "log.xlsx", declaring((folder / "log.xlsx").read_bytes(), "xl/fill.xml", 2000))


def long_line(folder):
    """40 MB without a line end after a good row."""
    with (folder / "log.csv").open("wb") as stream:
        stream.write(GOOD.encode())
        for _ in range(40):
            stream.write(b"1,2,3,4,5,6,7,8," * 62_500)


def wide_log(folder):
    """10,000 columns, none of them of a long log."""
    names = [f"AHU{i}/101/PIR" for i in range(10_000)]
    put(
        folder, "log.csv", [",".join(["Timestamp", *names])] + [",".join(["2026-03-02 08:00:00", *["1"] * 10_000])] * 20
    )


def wide_long_log(folder):
    """A long log with 10,000 columns more."""
    extra = ",".join(f"x{i}" for i in range(10_000))
    put(folder, "log.csv", [f"{HEADER},{extra}", *[MOTION + "," * 10_000] * 20])


def fifo_and_folders(folder):
    import os  # noqa: PLC0415

    os.mkfifo(folder / "pipe.csv")
    (folder / "folder.csv").mkdir()
    put(folder, "log.csv", GOOD)


def hostile_names(folder):
    for name in (
        "-rf.csv",
        "$(reboot).csv",
        "a\nb.csv",
        "\x1b[31mred.csv",
        "ü–漢字.csv",
        "x" * 240 + ".csv",
        "'; DROP TABLE.csv",
    ):
        put(folder, name, GOOD)


def hostile_name(folder):
    put(folder, "a\nb\x1b[31m.csv", GOOD + "oops\n")


def many_rooms(folder):
    rows = [f"2026-03-02T08:00:00Z,{i},,motion,1" for i in range(200_000)]
    put(folder, "log.csv", [HEADER, MOTION, *rows])


def many_detectors(folder):
    rows = [f"2026-03-02T08:00:00Z,r101,,motion,1,{i}" for i in range(70_000)]
    put(folder, "log.csv", [HEADER + ",detector", *rows])


def forms_of_time(folder):
    rows = [
        "2026-03-02T08:00:00Z",
        "2026-03-02 08:00",
        "1772438400",
        "1772438400123",
        "2026-03-02T08:00:00.5+01:00",
        "02.03.2026 08:00",
    ]
    put(folder, "log.csv", [HEADER, *(f"{t},r101,,motion,1" for t in rows)])


NO_TIME = "log.csv, row 4, column time: "
CASES = [
    # Nothing, or not what it says
    ("empty folder", lambda folder: None, "{}: no log in this folder"),
    ("empty file", one(b""), "log.csv: the file is empty"),
    ("blanks only", one(b" \n\n \n"), "log.csv, row 1: found '', which is one column"),
    ("header only", one(HEADER + "\n"), "{}: the logs hold no motion"),
    ("header without line end", one(HEADER), "{}: the logs hold no motion"),
    ("one column", one("time\n2026-03-02\n"), "log.csv, row 1: found 'time', which is one column"),
    ("prose", one("Dear all,\nplease find the log attached.\n"), "log.csv: no column 'time' among 'Dear all', ''"),
    (
        "web page",
        one("<!DOCTYPE html>\n<html><body>Not found, sorry</body></html>\n"),
        "log.csv: no column 'time' among ",
    ),
    ("JSON", one('{"time": 1, "room": "r101",\n "value": 1}\n'), "log.csv: no column 'time' among "),
    ("binary garbage", one(random.Random(1).randbytes(100_000)), "log.csv: the content is binary"),
    ("control characters", one(bytes(range(1, 32)) * 100), "log.csv: the content is binary"),
    ("picture", one(b"\x89PNG\r\n\x1a\n" + bytes(5000)), "log.csv: the content is binary"),
    ("NUL bytes after a good row", one(GOOD + "\0" * 5000), "log.csv"),
    (
        "NUL bytes in a large file",
        one(GOOD + (MOTION + "\n") * 9000 + "\0\0\0\n"),
        "log.csv, row 9004: NUL bytes in the text",
    ),
    ("no motion", one([HEADER, "2026-03-02T08:00:00Z,r101,wall,illuminance,4"]), "{}: the logs hold no motion"),
    ("other rooms", one([HEADER, "2026-03-02T08:00:00Z,R-101,,motion,1"]), "{}: none of the rooms in the logs (R-101)"),
    # Columns
    *((f"no column {c}", one(GOOD.replace(c, "x", 1)), f"log.csv: no column {c!r} among ") for c in HEADER.split(",")),
    ("a column twice", one(GOOD.replace("channel", "room", 1)), "log.csv: "),
    ("10,000 columns", wide_log, "log.csv: no column 'time' among 'Timestamp'"),
    ("a long log with 10,000 more columns", wide_long_log, None),
    # Rows
    ("stray line", row("### export interrupted ###"), NO_TIME + "'### export interrupted ###' is no time"),
    ("too many fields", row(MOTION + ",x"), "log.csv, row 4: 6 fields where the header has 5"),
    ("hundred fields", row(",".join("x" * 100)), "log.csv, row 4: 100 fields where the header has 5"),
    ("too few fields", row("2026-03-02T09:00:00Z,r101"), "log.csv, row 4, column quantity: '' is no quantity"),
    ("cut in the middle", one(GOOD.encode()[:-20]), None),
    (
        "open quotation mark",
        row('2026-03-02T09:00:00Z,"r101,,motion,1\n' + MOTION),
        "log.csv, row 4: a quotation mark opens here",
    ),
    ("quotation mark inside", row('2026-03-02T09:00:00Z,r"1"01,,motion,1'), None),
    (
        "words after a quotation",
        row('2026-03-02T09:00:00Z,"r101"x,,motion,1'),
        "log.csv, row 4: a quotation mark stands inside",
    ),
    ("no time", row(",r101,,motion,1"), NO_TIME + "the time is empty"),
    ("no such day", row("2026-02-30T09:00:00Z,r101,,motion,1"), NO_TIME + "'2026-02-30T09:00:00Z' is no time"),
    ("no such hour", row("2026-02-03T25:00:00Z,r101,,motion,1"), NO_TIME + "'2026-02-03T25:00:00Z' is no time"),
    ("year 1", row("0001-01-01T00:00:00Z,r101,,motion,1"), None),
    ("year 9999", row("9999-12-31T23:59:59Z,r101,,motion,1"), None),
    ("year 10000", row("10000-01-01T00:00:00Z,r101,,motion,1"), NO_TIME + "'10000-01-01T00:00:00Z' is no time"),
    ("year 1, local", row("0001-01-01 00:00:00,r101,,motion,1"), None),
    ("year 9999, local", row("9999-12-31 23:59:59,r101,,motion,1"), None),
    (
        "only year 1",
        one([HEADER, "0001-01-01,r101,,motion,1"]),
        "log.csv, column time: no row has a time from 1990 to 2099",
    ),
    ("an enormous epoch", row("99999999999999999999999,r101,,motion,1"), "log.csv, row 4"),
    ("a negative epoch", row("-5,r101,,motion,1"), None),
    (
        "day and month both ways",
        one([HEADER, "13/02/2026,r101,,motion,1", "02/13/2026,r101,,motion,1"]),
        "log.csv, row 3",
    ),
    ("many forms of time", forms_of_time, None),
    ("NaN", row("2026-03-02T09:00:00Z,r101,,motion,NaN"), None),
    ("infinity", row("2026-03-02T09:00:00Z,r101,wall,illuminance,-inf"), None),
    ("negative lux", row("2026-03-02T09:00:00Z,r101,wall,illuminance,-300"), None),
    ("a million lux", row("2026-03-02T09:00:00Z,r101,wall,illuminance,1e6"), None),
    ("motion of 7", row("2026-03-02T09:00:00Z,r101,,motion,7"), None),
    ("a formula", row("2026-03-02T09:00:00Z,r101,,motion,=1+1"), "log.csv, row 4, column value: '=1+1' is no value"),
    (
        "a command in a formula",
        row("2026-03-02T09:00:00Z,r101,,motion,=cmd|' /C calc'!A0"),
        "log.csv, row 4, column value: \"=cmd|' /C calc'!A0\" is no value",
    ),
    ("a word", row("2026-03-02T09:00:00Z,r101,,motion,maybe"), "log.csv, row 4, column value: 'maybe' is no value"),
    ("a number with two points", row("2026-03-02T09:00:00Z,r101,wall,illuminance,1.2.3"), None),
    ("mixed types by row", row("2026-03-02T09:00:00Z,r101,,motion,true\n1772442000,r101,,motion,0\n" + MOTION), None),
    (
        "unknown quantity",
        row("2026-03-02T09:00:00Z,r101,,temperature,21"),
        "log.csv, row 4, column quantity: 'temperature'",
    ),
    ("empty quantity", row("2026-03-02T09:00:00Z,r101,,,21"), "log.csv, row 4, column quantity: '' is no quantity"),
    (
        "an escape sequence as a value",
        row("2026-03-02T09:00:00Z,r101,,motion,\x1b[2Jx"),
        "log.csv, row 4, column value: ",
    ),
    ("200,000 rooms", many_rooms, None),
    ("70,000 detectors", many_detectors, "log.csv: more than 65,535 series"),
    ("40 MB without a line end", long_line, "log.csv, row 4: the line is longer than 16 MiB"),
    # Encodings
    ("UTF-16 cut in a character", one(GOOD.encode("utf-16")[:-1]), "log.csv: not whole UTF-16 text"),
    (
        "UTF-16 with a lone surrogate",
        one(GOOD.encode("utf-16") + b"\x00\xd8\x0a\x00"),
        "log.csv: not whole UTF-16 text",
    ),
    (
        "Latin-1 far down",
        one(GOOD.encode() + (MOTION + "\n").encode() * 9000 + b"2026-03-02T09:00:00Z,caf\xe9,,motion,1\n"),
        None,
    ),
    ("EBCDIC", one(GOOD.encode("cp500")), "log.csv"),
    ("two byte order marks", one(b"\xef\xbb\xbf" * 2 + GOOD.encode()), "log.csv: no column 'time' among "),
    # Parquet
    ("Parquet cut in half", one(parquet(FRAME)[:9000], "log.parquet"), "log.parquet: not a whole Parquet file"),
    ("Parquet without its end", one(parquet(FRAME)[:-4], "log.parquet"), "log.parquet: not a whole Parquet file"),
    ("four bytes of Parquet", one(b"PAR1", "log.parquet"), "log.parquet: not a whole Parquet file"),
    ("text called Parquet", one(GOOD, "log.parquet"), "log.parquet: not a whole Parquet file"),
    ("Parquet called CSV", one(parquet(FRAME), "log.csv"), None),
    ("Parquet without rows", one(parquet(FRAME.head(0)), "log.parquet"), "{}: the logs hold no motion"),
    (
        "lists as values",
        one(parquet(FRAME.with_columns(value=pl.concat_list("value"))), "log.parquet"),
        "log.parquet, row 1, column value: ",
    ),
    (
        "bytes as rooms",
        one(parquet(FRAME.with_columns(pl.col("room").cast(pl.Binary))), "log.parquet"),
        "log.parquet, column room: ",
    ),
    (
        "durations as times",
        one(parquet(FRAME.with_columns(pl.duration(hours=1).alias("time"))), "log.parquet"),
        "log.parquet, column time: ",
    ),
    (
        "no times",
        one(parquet(FRAME.with_columns(time=None)), "log.parquet"),
        "log.parquet, row 1, column time: the time is empty",
    ),
    (
        "columns called like patterns",
        one(parquet(FRAME.with_columns(pl.lit(1).alias("^.*$"), pl.lit(2).alias("*"))), "log.parquet"),
        None,
    ),
    # Excel
    (
        "Excel cut in half",
        lambda folder: put(folder, "log.xlsx", xlsx(folder)[:900]),
        "log.xlsx: not a whole Excel file",
    ),
    ("text called Excel", one(GOOD, "log.xlsx"), "log.xlsx: not an Excel file"),
    ("Excel without cells", lambda folder: xlsx(folder, [[]]), "log.xlsx: no column 'time' among none"),
    (
        "formula cells",
        lambda folder: xlsx(folder, [HEADER.split(","), ["2026-03-02 09:00", "r101", "", "motion", ("=", "1", 1)]]),
        None,
    ),
    (
        "error cells",
        lambda folder: xlsx(folder, [HEADER.split(","), [("#", "#REF!"), "r101", "", "motion", 1]]),
        "log.xlsx, row 2, column time: the time is empty",
    ),
    ("a workbook of 1.5 GB", large_workbook, "log.xlsx: the workbook says it unpacks to 1,50"),
    (
        "a workbook larger than it says",
        lying_workbook,
        "log.xlsx: not a whole Excel file (xl/fill.xml in it is damaged)",
    ),
    (
        "an old workbook in name only",
        one(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4000), "log.xlsx"),
        "log.xlsx: not a whole Excel file",
    ),
    # Archives
    (
        "gzip cut in half",
        one(gzip.compress(random.Random(1).randbytes(999).hex().encode())[:900], "log.csv.gz"),
        "log.csv.gz: not a whole gzip file",
    ),
    (
        "gzip with a wrong sum",
        one(gzip.compress(GOOD.encode())[:-8] + bytes(8), "log.csv.gz"),
        "log.csv.gz: not a whole gzip file",
    ),
    ("text called gzip", one(GOOD, "log.csv.gz"), "log.csv.gz: not a gzip file"),
    ("gzip of nothing", one(gzip.compress(b""), "log.csv.gz"), "log.csv.gz: the file is empty"),
    ("a gzip bomb", gzip_bomb, "log.csv.gz, row 2: the line is longer than 16 MiB"),
    ("zip cut in half", one(zipped({"log.csv": GOOD})[:200], "log.zip"), "log.zip: not a whole zip file"),
    ("zip without files", one(zipped({}), "log.zip"), "log.zip: the archive holds no file"),
    (
        "zip in a zip",
        one(zipped({"a.zip": zipped({"log.csv": GOOD})}), "log.zip"),
        "log.zip: a.zip: an archive inside an archive",
    ),
    ("zip with a way out", one(zipped({"../../log.csv": GOOD}), "log.zip"), None),
    (
        "zip with a damaged member",
        one(zipped({"log.csv": GOOD}, method=zipfile.ZIP_STORED).replace(b"431.5", b"999.9"), "log.zip"),
        "log.zip: log.csv: not a whole zip file",
    ),
    ("4 million equal rows in a zip", many_equal_rows, None),
    # Folders and names
    ("hostile file names", hostile_names, None),
    (
        "a hostile name in a message",
        hostile_name,
        "a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}[31m.csv, row 4, column time: ",
    ),
    ("a pipe and a folder called csv", fifo_and_folders, None),
    *((f"bytes changed at random, {i}", one(flip(GOOD.encode() * 20, i), "log.csv"), ...) for i in range(5)),
    *((f"Parquet changed at random, {i}", one(flip(parquet(FRAME), i, 3), "log.parquet"), ...) for i in range(5)),
    *((f"Excel changed at random, {i}", flipped_workbook(i), ...) for i in range(5)),
]
