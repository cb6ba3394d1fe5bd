"""Where a building is, near enough for the sun, when all that is known is its time zone."""

from __future__ import annotations

import functools
import re
from importlib import resources
from pathlib import Path

_SYSTEM = Path("/usr/share/zoneinfo/zone.tab")
_ISO_6709 = re.compile(r"([+-])(\d{2,3})(\d{2})(\d{2})?(?=[+-]|$)")


@functools.lru_cache(maxsize=1)
def _places() -> dict[str, tuple[float, float]]:
    text = _zone_table()
    rows = (line.split("\t") for line in text.splitlines() if line and not line.startswith("#"))
    found = {}
    for row in rows:
        parts = _ISO_6709.findall(row[1])
        if len(parts) == 2:
            found[row[2]] = (_degrees(*parts[0]), _degrees(*parts[1]))
    return found


def _degrees(sign: str, degrees: str, minutes: str, seconds: str) -> float:
    size = int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600
    return -size if sign == "-" else size


def _zone_table() -> str:
    """The table of zones and their principal places that comes with the time zone data."""
    try:
        return (resources.files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    except (ModuleNotFoundError, OSError):
        return _SYSTEM.read_text(encoding="utf-8") if _SYSTEM.is_file() else ""


def place_of_zone(zone_name: str) -> tuple[float, float] | None:
    """Latitude and longitude of the principal place of a time zone. [deg].

    Parameters
    ----------
    zone_name
        IANA name.

    Returns
    -------
    North and east positive; ``None`` for a zone without a place (UTC) or where the table is not installed. A building may lie some
    hundreds of kilometres away, which moves the sun by minutes and a few degrees.

    Examples
    --------
    >>> place_of_zone("Europe/Copenhagen")
    (55.666..., 12.583...)
    """
    return _places().get(zone_name)
