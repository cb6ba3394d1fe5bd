"""Log files for tests of the readers, written by hand: no code of the readers takes part."""

import datetime as dt
import zipfile
from pathlib import Path
from xml.sax.saxutils import escape

import polars as pl

from tuning.logs import read_logs
from tuning.site import parse_site

ROOMS = """
[rooms.r101]
use = "office"
[rooms.r101.channels.wall]
[rooms.r101.channels.window]
[rooms.r102]
use = "office"
[rooms.r102.channels.main]
"""
HEADER = "time,room,channel,quantity,value"
MOTION = "2026-03-02T08:00:00Z,r101,,motion,1"


def site(logs="", *, zone="Europe/Copenhagen", rooms=ROOMS):
    return parse_site(f'[site]\ntime_zone = "{zone}"\n{rooms}\n{logs}', Path("site.toml"))


def put(folder: Path, name: str, content) -> Path:
    """Write a file from text, lines or bytes."""
    if isinstance(content, list):
        content = "\n".join(content) + "\n"
    if isinstance(content, str):
        content = content.encode("utf-8")
    path = folder / name
    path.write_bytes(content)
    return path


def read(folder: Path, content, *, name="log.csv", logs="", zone="Europe/Copenhagen"):
    """Read one file as the only log of a building."""
    put(folder, name, content)
    return read_logs(folder, site(logs, zone=zone))


def long_lines(*rows):
    return [HEADER, MOTION, *rows]


def times_of(logs, room="r101", quantity="motion"):
    """ISO times of a quantity of a room."""
    found = logs.readings(room).filter(pl.col("quantity") == quantity)["time"]
    return [t.strftime("%Y-%m-%dT%H:%M:%S") for t in found]


def values_of(logs, room="r101", quantity="motion"):
    return logs.readings(room).filter(pl.col("quantity") == quantity)["value"].to_list()


def codes(logs):
    """Codes of the findings with their counts."""
    return {f.code: f.evidence["rows"] for f in logs.findings}


# A workbook, by hand -----------------------------------------------------------------------------------------------

_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>'
_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_SHEETML = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_DAY_ZERO = dt.datetime(1899, 12, 30)  # noqa: DTZ001  Excel knows no zones


def _column(index):
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        name = chr(65 + rest) + name
    return name


def _cell(value, ref):
    """XML of a cell: a number, boolean, timestamp, date, time, ("=", formula, result), ("#", error) or text."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return f'<c r="{ref}" t="b"><v>{int(value)}</v></c>'
    if isinstance(value, int | float):
        return f'<c r="{ref}"><v>{value!r}</v></c>'
    if isinstance(value, dt.datetime):
        return f'<c r="{ref}" s="1"><v>{(value.replace(tzinfo=None) - _DAY_ZERO) / dt.timedelta(days=1)!r}</v></c>'
    if isinstance(value, dt.date):
        return f'<c r="{ref}" s="2"><v>{(value - _DAY_ZERO.date()).days}</v></c>'
    if isinstance(value, dt.time):
        return f'<c r="{ref}" s="3"><v>{(value.hour * 3600 + value.minute * 60 + value.second) / 86400!r}</v></c>'
    if isinstance(value, tuple) and value[0] == "=":
        return f'<c r="{ref}"><f>{escape(value[1])}</f><v>{value[2]}</v></c>'
    if isinstance(value, tuple):
        return f'<c r="{ref}" t="e"><v>{escape(value[1])}</v></c>'
    return f'<c r="{ref}" t="inlineStr"><is><t>{escape(value)}</t></is></c>'


def workbook(path, rows):
    """Write rows of cells as the only sheet of an .xlsx file."""
    body = "".join(
        f'<row r="{i}">' + "".join(_cell(value, f"{_column(j)}{i}") for j, value in enumerate(row)) + "</row>"
        for i, row in enumerate(rows, 1)
    )
    override = '<Override PartName="/xl/{0}.xml" ContentType="' + _SHEETML + '.{1}+xml"/>'
    kinds = (("workbook", "sheet.main"), ("worksheets/sheet1", "worksheet"), ("styles", "styles"))
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        + "".join(override.format(*kind) for kind in kinds)
        + "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{_REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {_MAIN} xmlns:r="{_REL}"><sheets>'
        '<sheet name="log" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_REL}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="rId2" Type="{_REL}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": f'<styleSheet {_MAIN}><cellXfs count="4"><xf numFmtId="0"/><xf numFmtId="22"/>'
        '<xf numFmtId="14"/><xf numFmtId="21"/></cellXfs></styleSheet>',
        "xl/worksheets/sheet1.xml": f"<worksheet {_MAIN}><sheetData>{body}</sheetData></worksheet>",
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, _HEAD + text)
    return path
