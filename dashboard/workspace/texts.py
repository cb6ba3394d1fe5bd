"""The sign NUL (U+0000), which no text of a workspace holds: PostgreSQL's texts cannot, and what one kind of database takes the other takes, too.

It is looked for where statements meet the database, so that no way there can be forgotten: texts, JSON, and what is only looked up. What is read
and mended before it comes so far (people's names, names of files) asks for itself.
"""

from __future__ import annotations

from typing import Any, Final

from sqlalchemy import Connection, Engine, event

from dashboard.workspace.errors import RefusedError

NUL: Final = "\0"
SHOWN: Final = "\N{SYMBOL FOR NULL}"
AROUND = 20
"""Characters on either side of the sign that are shown. Chosen by us: enough to find it by."""


def without_nul(value: Any) -> None:
    """Refuse a text, or JSON that holds one in a value or a key, with the sign NUL in it.

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
            if NUL in one:
                raise RefusedError(_told(one))
        elif isinstance(one, dict):
            left += [*one.keys(), *one.values()]
        elif isinstance(one, list | tuple | set | frozenset):
            left += one


def nul_shown(value: Any) -> Any:
    """Return text or JSON with another sign, that shows it, in the place of every NUL.

    Examples
    --------
    >>> nul_shown({"note": [chr(0), 7, None]})
    {'note': ['␀', 7, None]}
    """
    if isinstance(value, str):
        return value.replace(NUL, SHOWN)
    if isinstance(value, dict):
        return {nul_shown(k): nul_shown(v) for k, v in value.items()}
    return [nul_shown(v) for v in value] if isinstance(value, list) else value


def _told(text: str) -> str:
    at = text.index(NUL)
    first, last = max(0, at - AROUND), at + 1 + AROUND
    shown = text[first:last].replace(NUL, SHOWN)
    around = f"{'…' if first else ''}{shown}{'…' if last < len(text) else ''}"
    return (
        f"“{around}” holds the sign NUL (U+0000), shown as {SHOWN}, which no text here may. "
        "Take it out, then do it once more."
    )


def keep_nul_out(engine: Engine) -> None:
    """Have every statement of an engine refused, before it is sent, that has the sign NUL in a value."""

    @event.listens_for(engine, "before_cursor_execute")
    def _look(_connection: Connection, *statement: Any) -> None:
        # The values as the program gave them: how JSON is written, and NUL in it, is another matter for each driver.
        *_, context, _many = statement
        without_nul(getattr(context, "compiled_parameters", None))
