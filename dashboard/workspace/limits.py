"""Limits of a workspace: ``holdoff.toml`` in it, or the file that ``HOLDOFF_CONFIG`` or ``holdoff serve --config`` names.

Every limit has a default here, and nowhere else, so that a workspace needs no file. What nobody would change stands as a constant beside its use.
"""

from __future__ import annotations

import datetime as dt
import difflib
import os
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Final, Literal, get_args
from urllib.parse import urlsplit

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from tuning.errors import TuningError
from tuning.logs.sources import BOUNDS

NAME: Final = "holdoff.toml"
VARIABLE: Final = "HOLDOFF_CONFIG"
"""Environment variable with the path of a file in place of the workspace's own."""
MIB, GIB = 1024**2, 1024**3
SIZES: Final = {"B": 1, "KiB": 1024, "MiB": MIB, "GiB": GIB, "TiB": 1024 * GIB}
SPANS: Final = {"s": 1, "min": 60, "h": 3600, "d": 86400}
CHUNK: Final = 8 * MIB
"""Pieces in which the browser sends a file [B]. Measured: larger ones are no faster."""
MOST_ATTEMPTS_AN_HOUR = 100
"""Failed attempts to log in to one account: OWASP ASVS 4.0.3, 2.2.1."""


class ConfigError(TuningError):
    """The file with the limits has a problem: what was found, the rule, the remedy."""


def _measured(given: Any, units: dict[str, int], example: str) -> Any:
    if not isinstance(given, str):
        raise ValueError(f"It is a text with a number and a unit ({', '.join(units)}), such as {example!r}")
    told = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([A-Za-z]+)\s*", given)
    if told is None or told[2] not in units:
        raise ValueError(f"It is a number and a unit ({', '.join(units)}), such as {example!r}")
    return float(told[1]) * units[told[2]]


def _size(given: Any) -> Any:
    return given if given is None else round(_measured(given, SIZES, "4 GiB"))


def _span(given: Any) -> Any:
    return dt.timedelta(seconds=_measured(given, SPANS, "15 min"))


Size = Annotated[int, BeforeValidator(_size), Field(ge=MIB)]
"""Bytes."""
Span = Annotated[dt.timedelta, BeforeValidator(_span)]
Count = Annotated[int, Field(strict=True, ge=1)]


def _seconds(least: int, most: int) -> Any:
    return Field(ge=dt.timedelta(seconds=least), le=dt.timedelta(seconds=most))


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Uploads(_Part):
    """Files on their way in, and what is kept of them. All chosen by us."""

    file: Size = Field(default=4 * GIB, description="one file")
    on_the_way: Size = Field(default=8 * GIB, description="all files on their way together")
    kept: Size = Field(default=64 * GIB, description="all logs of the workspace together")
    free: Size = Field(default=GIB, description="what the disk keeps free")
    request: Annotated[Size, Field(ge=2 * CHUNK)] = Field(
        default=64 * MIB, description="one request; files come in pieces of 8 MiB"
    )
    expire: Annotated[Span, _seconds(3600, 366 * 86400)] = Field(
        default=dt.timedelta(days=7), description="a file that nobody goes on with is forgotten"
    )

    @model_validator(mode="after")
    def _ordered(self) -> Uploads:
        if not self.file <= self.on_the_way <= self.kept:
            raise ValueError("file may be no more than on_the_way, and on_the_way no more than kept")
        return self


class Unpacking(_Part):
    """What a packed or large log may hold."""

    unpacked: Size = Field(default=BOUNDS.unpacked, description="an archive unpacks to so much")
    ratio: Annotated[int, Field(strict=True, ge=10, le=100_000)] = Field(
        default=BOUNDS.ratio, description="and to so many times its size, beyond 256 MiB"
    )
    held: Size = Field(default=BOUNDS.held, description="a Parquet or Excel file inside an archive, held in memory")
    workbook: Size = Field(default=BOUNDS.workbook, description="a workbook unpacks to so much")
    rows: Annotated[int, Field(strict=True, ge=1000)] = Field(default=BOUNDS.rows, description="rows of one file")


class LogIn(_Part):
    """Sessions and attempts."""

    lasts: Annotated[Span, _seconds(60, 31 * 86400)] = Field(
        default=dt.timedelta(hours=12), description="a log-in lasts"
    )
    window: Annotated[Span, _seconds(60, 86400)] = Field(
        default=dt.timedelta(minutes=15), description="failed attempts are counted over"
    )
    by_name: Count = Field(default=8, description="under one name, then it waits")
    by_address: Count = Field(default=40, description="from one address, then it waits")
    link: Annotated[Span, _seconds(300, 31 * 86400)] = Field(
        default=dt.timedelta(days=1), description="a link to choose a password holds"
    )

    @model_validator(mode="after")
    def _few_enough(self) -> LogIn:
        if self.by_name * 3600 > MOST_ATTEMPTS_AN_HOUR * self.window.total_seconds():
            raise ValueError(
                f"by_name within window may come to no more than {MOST_ATTEMPTS_AN_HOUR} attempts an hour (OWASP ASVS 2.2.1)"
            )
        return self


class Server(_Part):
    """The process that answers."""

    threads: Annotated[int, Field(strict=True, ge=2, le=64)] = Field(
        default=8, description="requests answered at a time"
    )
    connections: Annotated[int, Field(strict=True, ge=20, le=10_000)] = Field(
        default=500, description="open at a time; a browser holds up to six"
    )
    patience: Annotated[Span, _seconds(1, 600)] = Field(
        default=dt.timedelta(seconds=30), description="on SIGTERM, requests under way may take so long"
    )


class Workers(_Part):
    """The processes that analyse."""

    count: Annotated[int, Field(strict=True, ge=1, le=64)] = Field(
        default=1, description="processes, each with one building at a time"
    )
    tries: Annotated[int, Field(strict=True, ge=1, le=10)] = Field(
        default=3, description="a job that broke off so often fails"
    )
    threads: Annotated[int, Field(strict=True, ge=1, le=256)] | None = Field(
        default=None, description="threads of polars and numpy in each process"
    )
    memory: Annotated[Size, Field(ge=512 * MIB)] | None = Field(
        default=None, description="resident memory of each process; a job that needs more fails"
    )

    @model_validator(mode="after")
    def _can_be_held(self) -> Workers:
        if self.memory is not None and not sys.platform.startswith("linux"):
            raise ValueError("memory can be held to on Linux only; leave it out")
        return self


class Provider(_Part):
    """An OpenID provider that people log in with; needs the extra ``oidc``."""

    issuer: str = Field(description="as its discovery document says it")
    client_id: str = Field(min_length=1, description="holdoff's name with the provider")
    name: Annotated[str, Field(min_length=1, max_length=40)] = Field(
        default="single sign-on", description="on the page to log in"
    )
    secret_variable: str | None = Field(default=None, description="environment variable that holds the client's secret")
    secret_file: Path | None = Field(default=None, description="or a file that does; a public client has none")
    create: Literal["look", "decide"] | None = Field(
        default=None,
        description="role on every building of somebody unknown; without it an administrator ties accounts to subjects",
    )

    @model_validator(mode="after")
    def _reached_safely(self) -> Provider:
        there = urlsplit(self.issuer)
        if there.scheme != "https" and not (
            there.scheme == "http" and there.hostname in ("127.0.0.1", "localhost", "::1")
        ):
            raise ValueError("issuer is an https address (http on this machine only), without query or fragment")
        if not there.netloc or there.query or there.fragment:
            raise ValueError("issuer is an https address, without query or fragment")
        if self.secret_variable and self.secret_file:
            raise ValueError("the secret stands in secret_variable or in secret_file, not in both")
        return self

    def secret(self) -> str | None:
        """Return the client's secret; ``None`` for a public client.

        Raises
        ------
        ConfigError
            If it is not where it should be. The text never holds it.
        """
        if self.secret_variable:
            found = os.environ.get(self.secret_variable, "")
            where = f"The environment variable {self.secret_variable}"
        elif self.secret_file:
            try:
                found = self.secret_file.read_text(encoding="utf-8").strip()
            except (OSError, UnicodeDecodeError):
                found = ""
            where = f"The file {self.secret_file}"
        else:
            return None
        if not found:
            raise ConfigError(
                f"{where} holds no secret. provider names it for the client's secret. Set it, or take the key out."
            )
        return found


class Limits(_Part):
    """All of it. ``source``: the file that was read, if any."""

    uploads: Uploads = Uploads()
    unpacking: Unpacking = Unpacking()
    log_in: LogIn = LogIn()
    server: Server = Server()
    workers: Workers = Workers()
    provider: Provider | None = None
    source: Annotated[Path | None, Field(exclude=True)] = None


def find(folder: Path) -> Path | None:
    """Find the file with the limits of a workspace; ``None`` where all are the defaults."""
    named = os.environ.get(VARIABLE)
    if named:
        return Path(named)
    own = folder / NAME
    return own if own.is_file() else None


def read(path: Path | None) -> Limits:
    """Read limits; the defaults where there is no file.

    Raises
    ------
    ConfigError
        With the first problem: key, what was found, rule, remedy.
    """
    if path is None:
        return Limits()
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise ConfigError(
            f"{path}: cannot be opened ({error.strerror}). Limits are read from it. Name a file that is there."
        ) from error
    except UnicodeDecodeError as error:
        raise ConfigError(
            f"{path}: byte {error.start} is not UTF-8. TOML files are UTF-8. Save it as UTF-8."
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(f"{path}: not valid TOML: {error}. The file must be TOML 1.0. Mend that line.") from error
    if "source" in given:
        raise _unknown(path, ("source",))
    try:
        return Limits(**given, source=path.resolve())
    except ValidationError as error:
        raise _in_words(path, error) from error


def of(folder: Path) -> Limits:
    """Read the limits of a workspace. See :func:`read`."""
    return read(find(folder))


def hold_to(limits: Limits) -> None:
    """Hold the reading of logs in this process to them."""
    for name, value in limits.unpacking:
        setattr(BOUNDS, name, value)


def _in_words(path: Path, error: ValidationError) -> ConfigError:
    first = error.errors()[0]
    where = tuple(str(p) for p in first["loc"])
    if first["type"] == "extra_forbidden":
        return _unknown(path, where)
    key, given = ".".join(where), first.get("input")
    if first["type"] == "missing":
        return ConfigError(f"{path.name}, {key}: the key is missing. It is required in this table. Add it.")
    found = f"found {given!r}" if isinstance(given, str | int | float | bool) else "the values do not go together"
    rule = str(first["msg"]).removeprefix("Value error, ")
    bound = (first.get("ctx") or {}).get("ge") or (first.get("ctx") or {}).get("le")
    if isinstance(bound, int) and len(where) == 2 and _is_size(_model(Limits, where[0]), where[1]):
        word = "greater" if first["type"].startswith("greater") else "less"
        rule = f"It must be {word} than or equal to {shown(bound, size=True)}"
    more = f" ({error.error_count() - 1} more follow)" if error.error_count() > 1 else ""
    return ConfigError(f"{path.name}, {key}: {found}. {rule}. Correct the value{more}; holdoff limits shows all keys.")


def _unknown(path: Path, where: tuple[str, ...]) -> ConfigError:
    part: Any = Limits
    for name in where[:-1]:
        part = _model(part, name)
    known = [n for n in part.model_fields if n != "source"]
    near = difflib.get_close_matches(where[-1], known, n=1, cutoff=0.5)
    remedy = f"Did you mean {'.'.join((*where[:-1], near[0]))}?" if near else f"Keys here are {', '.join(known)}."
    return ConfigError(
        f"{path.name}, {'.'.join(where)}: this key is not known. Only documented keys are read. {remedy}"
    )


def _model(part: type[BaseModel], name: str) -> Any:
    found = part.model_fields[name].annotation
    return next((a for a in (found, *get_args(found)) if isinstance(a, type) and issubclass(a, BaseModel)), part)


def _is_size(part: type[BaseModel], key: str) -> bool:
    def read_as_size(kind: Any, metadata: Any) -> bool:
        said = any(getattr(m, "func", None) is _size for m in metadata)
        return said or any(read_as_size(a, getattr(a, "__metadata__", ())) for a in get_args(kind))

    field = part.model_fields.get(key)
    return field is not None and read_as_size(field.annotation, field.metadata)


def amount(size: int) -> str:
    """Write a number of bytes for people.

    Examples
    --------
    >>> amount(4 * 1024**3), amount(1536 * 1024**2), amount(1000)
    ('4 GiB', '1536 MiB', '1000 B')
    """
    unit = next(u for u in reversed(SIZES) if size % SIZES[u] == 0)
    return f"{size // SIZES[unit]} {unit}"


def shown(value: Any, *, size: bool = False) -> str:
    """Write a limit as the file takes it.

    Examples
    --------
    >>> shown(4 * 1024**3, size=True), shown(dt.timedelta(minutes=90)), shown(8), shown("look")
    ('"4 GiB"', '"90 min"', '8', '"look"')
    """
    units = SIZES if size else SPANS
    if isinstance(value, dt.timedelta):
        value, size = round(value.total_seconds()), True
    if size and isinstance(value, int):
        unit = next(u for u in reversed(units) if value % units[u] == 0)
        return f'"{value // units[unit]} {unit}"'
    return str(value) if isinstance(value, int) else f'"{value}"'


def lines(limits: Limits) -> Iterator[str]:
    """Write all limits as a file that could be read again, with what each is for; those that the file does not set are marked."""
    for name, part in limits:
        if name == "source":
            continue
        yield "" if name != "uploads" else f"# {limits.source or 'no file: all limits are the defaults'}"
        if part is None:
            yield "# [provider]: none; people log in with a password"
            continue
        yield f"[{name}]"
        for key, value in part:
            text = shown(value, size=_is_size(type(part), key))
            what = type(part).model_fields[key].description
            own = key in part.model_fields_set
            yield (
                f"# {key}: {what}; none" if value is None else f"{key} = {text}  # {what}{'' if own else ' (default)'}"
            )
