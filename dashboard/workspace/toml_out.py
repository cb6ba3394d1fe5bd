"""A document → the text of ``site.toml``, so that every building of a workspace is a building folder for the command, too."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from dashboard.workspace.documents import Document


def toml(document: Document) -> str:
    """Write a document as TOML; times stay texts, as JSON has them."""
    lines = ["# Written by holdoff from its workspace; edit it there."]
    for name in ("site", "rooms"):
        lines += _table((name,), document.get(name, {}))
    for layout in document.get("logs", []):
        lines += ["", "[[logs]]", *_keys(layout)]
    return "\n".join(lines) + "\n"


def _table(path: tuple[str, ...], table: dict[str, Any]) -> Iterator[str]:
    inner = {k: v for k, v in table.items() if isinstance(v, dict)}
    rest = {k: v for k, v in table.items() if k not in inner}
    if rest or not inner:
        yield from ("", f"[{'.'.join(_key(p) for p in path)}]", *_keys(rest))
    for name, value in inner.items():
        yield from _table((*path, name), value)


def _keys(table: dict[str, Any]) -> list[str]:
    return [f"{_key(k)} = {_value(v)}" for k, v in table.items() if v is not None]


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _text(key)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return f"[{', '.join(_value(v) for v in value)}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{_key(k)} = {_value(v)}' for k, v in value.items() if v is not None)}}}"
    return _text(value) if isinstance(value, str) else repr(value)
