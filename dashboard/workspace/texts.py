"""Signs that no text of a workspace holds: NUL (U+0000), which PostgreSQL's texts cannot, and halves of signs (U+D800 to U+DFFF), which no file can.

JSON can write both. What one kind of database takes the other takes, too. It is looked for where statements meet the database, so that no
way there can be forgotten: texts, JSON, and what is only looked up. What is read and mended before it comes so far (people's names, names
of files) asks for itself.
"""

from __future__ import annotations

import re
from typing import Any, Final

from sqlalchemy import Connection, Engine, event

from dashboard.workspace.errors import RefusedError

NUL: Final = "\0"
UNKEPT: Final = re.compile("[\0\ud800-\udfff]")
SHOWN: Final = "\N{SYMBOL FOR NULL}"
HALF_SHOWN: Final = "\N{REPLACEMENT CHARACTER}"
AROUND = 20
"""Characters on either side of the sign that are shown. Chosen by us: enough to find it by."""


def check_texts(value: Any) -> None:
    """Refuse a text, or JSON that holds one in a value or a key, with a sign in it that cannot be kept.

    Parameters
    ----------
    value
        Anything; what is neither text nor JSON holds none.

    Raises
    ------
    RefusedError
        If there is one. The text shows what stands around it.
    """
    left = [value]
    while left:
        one = left.pop()
        if isinstance(one, str):
            if found := UNKEPT.search(one):
                raise RefusedError(_told(one, found.start()))
        elif isinstance(one, dict):
            left += [*one.keys(), *one.values()]
        elif isinstance(one, list | tuple | set | frozenset):
            left += one


def with_marks(value: Any) -> Any:
    """Return text or JSON with a sign that shows it in the place of every one that cannot be kept.

    Examples
    --------
    >>> with_marks({"note": [chr(0), 7, None]})
    {'note': ['␀', 7, None]}
    """
    if isinstance(value, str):
        return UNKEPT.sub(lambda found: _mark(found.group()), value)
    if isinstance(value, dict):
        return {with_marks(k): with_marks(v) for k, v in value.items()}
    return [with_marks(v) for v in value] if isinstance(value, list) else value


def _mark(sign: str) -> str:
    return SHOWN if sign == NUL else HALF_SHOWN


def _told(text: str, at: int) -> str:
    sign, first, last = text[at], max(0, at - AROUND), at + 1 + AROUND
    name = "the sign NUL" if sign == NUL else "half a sign"
    around = f"{'…' if first else ''}{with_marks(text[first:last])}{'…' if last < len(text) else ''}"
    return (
        f"“{around}” holds {name} (U+{ord(sign):04X}), shown as {_mark(sign)}, which no text here may. "
        "Take it out, then do it once more."
    )


def check_statements(engine: Engine) -> None:
    """Have every statement of an engine refused, before it is sent, that has a sign in a value that cannot be kept."""

    @event.listens_for(engine, "before_cursor_execute")
    def _look(_connection: Connection, *statement: Any) -> None:
        # The values as the program gave them: how JSON is written, and NUL in it, is another matter for each driver.
        *_, context, _many = statement
        check_texts(getattr(context, "compiled_parameters", None))
