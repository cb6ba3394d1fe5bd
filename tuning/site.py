"""``site.toml``: what the building is, what things cost and what the detectors can be set to.

Frozen pydantic models; the reader turns every problem into one :class:`~tuning.errors.SiteError`
that names the key, what was found, the rule and the remedy.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from tuning.errors import FolderError, SiteError
from tuning.room_uses import RoomUse, room_use

Mode = Literal["auto-on", "manual-on"]
Control = Literal["dimmed", "switched", "relay"]
Quantity = Literal["motion", "occupied", "illuminance", "output", "power", "override"]

DEFAULT_ALLOWED_HOLD_OFF_S = (60, 120, 180, 300, 600, 900, 1200, 1500, 1800)
DEFAULT_COST_PER_FALSE_OFF = 0.35
"""Chosen by us: half a minute of a paid hour lost for each person in the dark. No published value was found."""
DEFAULT_ELECTRICITY_PRICE = 0.30
"""Per kWh; chosen by us, to be replaced by the building's own price."""


ASSUMED_LOAD_W = 100.0
"""Stands in for a load that site.toml does not give; a finding says so."""


def known_zone(name: str) -> str:
    """Return the name of a time zone, or raise ``ValueError`` where it is none."""
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise ValueError(f"{name!r} is not an IANA time zone name (such as Europe/Copenhagen)") from error
    return name


def _increasing(values: tuple[float, ...]) -> tuple[float, ...]:
    if not values or any(v <= 0 for v in values):
        raise ValueError("give at least one value, all greater than 0")
    return tuple(sorted(set(values)))


def _increasing_whole(values: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(int(v) for v in _increasing(values))


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class SettingsChange(_Model):
    """Settings that came into force at a time inside the log; what is not named stays as it was."""

    from_: Annotated[dt.datetime | dt.date, Field(alias="from")]
    hold_off_s: Annotated[float | None, Field(gt=0)] = None
    target_lx: Annotated[float | None, Field(gt=0)] = None
    mode: Mode | None = None


class SpotReading(_Model):
    """A hand-held luxmeter at the task beside what the detector read. Output in percent, illuminances in lx."""

    output_pct: Annotated[float, Field(ge=0, le=100)]
    task_lx: Annotated[float, Field(ge=0)]
    detector_lx: Annotated[float | None, Field(ge=0)] = None
    time: dt.datetime | None = None

    @model_validator(mode="after")
    def _one_of(self) -> SpotReading:
        if self.detector_lx is None and self.time is None:
            raise ValueError("give detector_lx, or the time at which the log holds it")
        return self


class Channel(_Model):
    """One separately switched load with the settings that govern it."""

    load_w: Annotated[float | None, Field(gt=0)] = None
    standby_w: Annotated[float, Field(ge=0)] = 0.0
    hold_off_s: Annotated[float | None, Field(gt=0)] = None
    target_lx: Annotated[float | None, Field(gt=0)] = None
    mode: Mode = "auto-on"
    control: Control = "dimmed"
    allowed_hold_off_s: Annotated[tuple[int, ...], AfterValidator(_increasing_whole)] = DEFAULT_ALLOWED_HOLD_OFF_S
    allowed_target_lx: Annotated[
        tuple[float, ...] | None, AfterValidator(lambda v: v if v is None else _increasing(v))
    ] = None
    power_curve: tuple[tuple[float, float], ...] = ()
    """Optional (output in percent, power in W) pairs; linear between standby and load without it."""
    settings_history: tuple[SettingsChange, ...] = ()
    spot_readings: tuple[SpotReading, ...] = ()
    cost_per_false_off: Annotated[float | None, Field(ge=0)] = None
    """What a false-off of this channel costs, where not what the building says: a fan that stops is less trouble than darkness."""
    note: str = ""

    @property
    def power_w(self) -> float:
        """Power at full output: as given, else assumed. [W]."""
        return self.load_w or ASSUMED_LOAD_W


class Room(_Model):
    """A room and its channels."""

    name: str = ""
    use: str = "office"
    area_m2: Annotated[float | None, Field(gt=0)] = None
    required_illuminance_lx: Annotated[float | None, Field(gt=0)] = None
    channels: dict[str, Channel] = Field(default_factory=dict)
    note: str = ""

    @property
    def beliefs(self) -> RoomUse:
        """What the table of room uses knows of such a room."""
        return room_use(self.use)

    @property
    def required_lx(self) -> float | None:
        """Required illuminance at the task: the building's own, else that of the use. [lx]."""
        return self.required_illuminance_lx or self.beliefs.required_illuminance_lx


class ColumnMeaning(_Model):
    """What a column of a wide log, or a point of a log by points, is."""

    room: str
    quantity: Quantity
    channel: str | None = None
    detector: str | None = None
    scale: Annotated[float, Field(gt=0)] = 1.0
    """What to multiply values with: 100 where an output is logged as a share of one."""


class LogLayout(_Model):
    """How a group of log files is laid out."""

    files: str
    layout: Literal["long", "wide", "points"] = "long"
    time: str | tuple[str, ...] = "time"
    """Column with the time, or the names of a date column and a time column."""
    stamp: Literal["start", "end"] = "start"
    time_format: str | None = None
    point: str | tuple[str, ...] = "point"
    """Points: column that names the point of a row, or columns whose texts name it together, joined by " / "."""
    value: str = "value"
    """Points: column with the value."""
    columns: dict[str, ColumnMeaning] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _needs_columns(self) -> LogLayout:
        if self.layout != "long" and not self.columns:
            what = "column" if self.layout == "wide" else "point"
            raise ValueError(f"layout {self.layout!r} needs a table [logs.columns] that says which {what} is what")
        return self


class Building(_Model):
    """The ``[site]`` table."""

    name: str = "Unnamed building"
    time_zone: Annotated[str, AfterValidator(known_zone)]
    currency: str = "EUR"
    electricity_price: Annotated[float, Field(ge=0)] = DEFAULT_ELECTRICITY_PRICE
    emission_factor_kg: Annotated[float | None, Field(ge=0)] = None
    cost_per_false_off: Annotated[float, Field(ge=0)] = DEFAULT_COST_PER_FALSE_OFF
    max_false_offs_per_week: Annotated[float | None, Field(ge=0)] = None
    max_hold_off_s: Annotated[float | None, Field(gt=0)] = None
    cost_per_visit: Annotated[float, Field(ge=0)] = 0.5
    """What it costs to change a setting on site, spread over a year. Chosen by us: less than a minute of a technician on a round with the sheet."""
    cost_per_press: Annotated[float, Field(ge=0)] = 0.02
    """What a press costs the person who comes in (manual-on). Chosen by us."""
    allow_manual_on: bool = True
    """Whether the code that holds here lets people switch light on by a press where the room's use does."""
    latitude: Annotated[float | None, Field(ge=-90, le=90)] = None
    longitude: Annotated[float | None, Field(ge=-180, le=180)] = None


class Site(_Model):
    """The whole of ``site.toml``."""

    site: Building
    rooms: dict[str, Room]
    logs: tuple[LogLayout, ...] = ()

    @model_validator(mode="after")
    def _has_channels(self) -> Site:
        if not any(room.channels for room in self.rooms.values()):
            raise ValueError("no room has a channel; give at least one table [rooms.ROOM.channels.CHANNEL]")
        for name, room in self.rooms.items():
            lit = any(c.control != "relay" for c in room.channels.values())
            if lit and room.required_lx is None:
                raise ValueError(
                    f"rooms.{name}: use {room.use!r} is not in the table of room uses, so required_illuminance_lx must be given"
                )
        return self

    @property
    def zone(self) -> ZoneInfo:
        """The building's time zone."""
        return ZoneInfo(self.site.time_zone)

    def up_to(self, end: dt.datetime) -> Site:
        """Return the building without settings that came into force after a time: a log that ends before says nothing of them."""

        def known(channel: Channel) -> Channel:
            kept = tuple(c for c in channel.settings_history if self.local_to_utc(c.from_) < end)
            return (
                channel
                if len(kept) == len(channel.settings_history)
                else channel.model_copy(update={"settings_history": kept})
            )

        rooms = {
            name: room.model_copy(update={"channels": {k: known(c) for k, c in room.channels.items()}})
            for name, room in self.rooms.items()
        }
        return self.model_copy(update={"rooms": rooms})

    def local_to_utc(self, when: dt.datetime | dt.date) -> dt.datetime:
        """Read a date or a time without offset in the building's zone. A date means its local midnight."""
        if not isinstance(when, dt.datetime):
            when = dt.datetime.combine(when, dt.time())
        if when.tzinfo is None:
            when = when.replace(tzinfo=self.zone)
        return when.astimezone(dt.UTC)


_REMEDY = {
    "missing": "add the key",
    "extra_forbidden": "remove it or mend its spelling; the README lists the keys",
}


def _site_error(path: Path, error: ValidationError) -> SiteError:
    first = error.errors()[0]
    key = ".".join(str(part) for part in first["loc"]) or "site.toml"
    kind = first["type"]
    if kind == "missing":
        found, rule = "the key is missing", "It is required"
    elif kind == "extra_forbidden":
        found, rule = "this key is not known", "Only documented keys are read, so that a slip of spelling is not lost"
    else:
        given = first.get("input")
        found = f"found {given!r}" if isinstance(given, str | int | float | bool | list) else "the value does not fit"
        rule = str(first["msg"]).removeprefix("Value error, ")
    more = error.error_count() - 1
    remedy = _REMEDY.get(kind, "correct the value") + (f" ({more} more problems follow)" if more else "")
    return SiteError(path, key, found, rule, remedy)


def parse_site(text: str, path: Path) -> Site:
    """Validate the text of a ``site.toml``.

    Raises
    ------
    SiteError
        With the first problem: key, what was found, rule, remedy.
    """
    try:
        data: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SiteError(
            path, "the file", f"not valid TOML: {error}", "The file must be TOML 1.0", "mend that line"
        ) from error
    try:
        return Site.model_validate(data)
    except ValidationError as error:
        raise _site_error(path, error) from error


def read_site(folder: Path) -> Site:
    """Read ``site.toml`` of a building folder.

    Raises
    ------
    FolderError
        If the folder or its ``site.toml`` is missing.
    SiteError
        If a key is missing, wrong or unknown.
    """
    if not folder.is_dir():
        raise FolderError(folder, "no such folder", "Give the folder that holds site.toml and the logs")
    path = folder / "site.toml"
    if not path.is_file():
        raise FolderError(
            folder, "no site.toml in this folder", "Write one that names the time zone, rooms and channels; see README"
        )
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise SiteError(
            path, "the file", f"byte {error.start} is not UTF-8", "TOML files are UTF-8", "save it as UTF-8"
        ) from error
    return parse_site(text, path)
