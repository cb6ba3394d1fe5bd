"""Numbers as the reader writes them: decimal and group signs by the language that the browser asks for.

Where nobody asks (a report, a command, a test) they are written as in English. Sentences of the analysis know where their numbers stand.
"""

from __future__ import annotations

from typing import Final

from flask import has_request_context, request

from tuning.sentence import Sentence

NARROW: Final = "\u202f"
POINT: Final = frozenset({"de-ch", "de-li", "it-ch", "es-mx", "es-us", "es-419", "es-pr", "es-gt", "es-pe"})
"""Regions that write a decimal point though their language has a comma."""
COMMA: Final = dict.fromkeys(
    ("ca", "da", "de", "el", "es", "gl", "hr", "id", "is", "it", "nl", "pt", "ro", "sl", "sr", "tr", "vi"), "."
) | (
    dict.fromkeys(
        ("bg", "cs", "et", "fi", "fr", "hu", "lt", "lv", "nb", "nn", "no", "pl", "ru", "sk", "sv", "uk"), NARROW
    )
)
"""Languages that write a decimal comma, with their group sign. From memory of the common locale data; no source at hand."""


def language() -> str:
    """Return the language that the reader asks for first; ``en`` where nobody asks."""
    if not has_request_context():
        return "en"
    best = request.accept_languages.best
    return str(best) if best and best != "*" else "en"


def signs(tag: str) -> tuple[str, str]:
    """Decimal and group sign of a language.

    Examples
    --------
    >>> signs("da-DK"), signs("en-GB"), signs("de-CH")
    ((',', '.'), ('.', ','), ('.', '’'))
    """
    tag = tag.lower().replace("_", "-")
    base = tag.split("-")[0]
    if tag in POINT:
        return ".", "’" if tag.endswith(("-ch", "-li")) else ","
    return (",", COMMA[base]) if base in COMMA else (".", ",")


def write(text: str) -> str:
    """Turn a number written as in English into the reader's signs.

    Parameters
    ----------
    text
        Digits with ``,`` between groups and ``.`` before decimals; other characters stay.
    """
    decimal, group = signs(language())
    return text if decimal == "." and group == "," else text.translate({ord(","): group, ord("."): decimal})


def number(value: float, digits: int = 0) -> str:
    """Write a number with so many decimals."""
    return write(f"{value:,.{digits}f}").replace("-", "−")


def said(text: str) -> str:
    """Write a sentence of the analysis with its numbers in the reader's signs; names in it, such as a room 2.14, stay."""
    return text.shown(write) if isinstance(text, Sentence) else text


def between() -> str:
    """What stands between the numbers of a list: a semicolon where the comma is the decimal sign."""
    return "; " if signs(language())[0] == "," else ", "


def separators() -> str:
    """Both signs as the figures take them."""
    return "".join(signs(language()))
