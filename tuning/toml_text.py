"""TOML as text: where its tables begin and end, so that one can be changed and the rest stays as a person wrote it."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass

_PLAIN_KEY = re.compile(r"^[A-Za-z0-9_-]+$")


@dataclass(frozen=True)
class Section:
    """A table with its header line and all lines up to the next one; the path is empty before the first."""

    path: tuple[str, ...]
    text: str

    @property
    def tail(self) -> str:
        """Comments at its end that stand right above what follows."""
        lines = self.text.splitlines(keepends=True)
        kept: list[str] = []
        while lines and lines[-1].strip().startswith("#"):
            kept.insert(0, lines.pop())
        return "".join(kept)


def sections(text: str) -> list[Section]:
    """Split a text into its tables. Joining their texts gives the text again."""
    found: list[tuple[tuple[str, ...], list[str]]] = [((), [])]
    state = _State()
    for line in text.splitlines(keepends=True):
        if state.outside and line.lstrip().startswith("["):
            path = _path(line)
            if path is not None:
                found.append((path, [line]))
                continue
        state.follow(line)
        found[-1][1].append(line)
    return [Section(path, "".join(lines)) for path, lines in found if lines]


def _path(line: str) -> tuple[str, ...] | None:
    try:
        value = tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return None
    path = []
    while isinstance(value, dict | list) and value:
        if isinstance(value, list):
            value = value[0]
            continue
        name, value = next(iter(value.items()))
        path.append(name)
    return tuple(path)


class _State:
    """Whether a line begins inside a string of several lines or inside brackets."""

    def __init__(self) -> None:
        self._quote, self._depth = "", 0

    @property
    def outside(self) -> bool:
        return not self._quote and self._depth == 0

    def follow(self, line: str) -> None:
        i = 0
        while i < len(line):
            if self._quote:
                if line[i] == "\\" and self._quote[0] == '"':
                    i += 2
                    continue
                if line.startswith(self._quote, i):
                    i += len(self._quote)
                    self._quote = ""
                    continue
            elif line[i] == "#":
                return
            elif line[i] in "\"'":
                three = line[i] * 3
                self._quote = three if line.startswith(three, i) else line[i]
                i += len(self._quote)
                continue
            elif line[i] in "[{":
                self._depth += 1
            elif line[i] in "]}":
                self._depth -= 1
            i += 1
        if len(self._quote) == 1:
            # A string of one line ends with it.
            self._quote = ""


def joined(parts: Iterable[Section]) -> str:
    """Join sections; each begins on a line of its own."""
    text = ""
    for part in parts:
        text += ("\n" if text and not text.endswith("\n") else "") + part.text
    return text.rstrip("\n") + "\n"


def string(value: str) -> str:
    r"""Write a text as a TOML string.

    Examples
    --------
    >>> print(string('a "b"\n'))
    "a \"b\"\n"
    """
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def key(name: str) -> str:
    """Write a key, bare where it may be."""
    return name if _PLAIN_KEY.match(name) else string(name)
