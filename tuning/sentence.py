"""Sentences that know where in them numbers stand, so that they can be shown with a reader's own decimal sign.

A sentence is a text as in English, and good for whatever takes a text; JSON, CSV and the terminal show it as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from numbers import Real
from string import Formatter

Span = tuple[int, int]


class Sentence(str):
    """A text with the places of its numbers.

    Attributes
    ----------
    numbers
        First and last-but-one position of each number, as slices take them, in order.
    """

    __slots__ = ("numbers",)
    numbers: tuple[Span, ...]

    def __new__(cls, text: str, numbers: Iterable[Span] = ()) -> Sentence:
        """Mark the numbers of a text."""
        made = super().__new__(cls, text)
        made.numbers = tuple((a, b) for a, b in numbers)
        return made

    def __getnewargs__(self) -> tuple[str, tuple[Span, ...]]:  # type: ignore[override]
        """Keep the numbers in copies and in other processes."""
        return str(self), self.numbers

    def __add__(self, other: str) -> Sentence:
        """Join on another text or sentence."""
        later = other.numbers if isinstance(other, Sentence) else ()
        return Sentence(f"{self}{other}", (*self.numbers, *((a + len(self), b + len(self)) for a, b in later)))

    def shown(self, write: Callable[[str], str]) -> str:
        """Return the text with each number written anew.

        Examples
        --------
        >>> say("{h:.1f} h in r1.5", h=2.5).shown(lambda number: number.replace(".", ","))
        '2,5 h in r1.5'
        """
        text, done = "", 0
        for first, last in self.numbers:
            text += self[done:first] + write(self[first:last])
            done = last
        return text + self[done:]

    def lines(self) -> list[Sentence]:
        """Split at the ends of lines."""
        found, start = [], 0
        for line in self.split("\n"):
            end = start + len(line)
            found.append(Sentence(line, [(a - start, b - start) for a, b in self.numbers if start <= a and b <= end]))
            start = end + 1
        return found


def say(template: str, /, **values: object) -> Sentence:
    """Fill a sentence in as ``str.format`` does, and note where its numbers stand; sentences among the values keep theirs.

    Examples
    --------
    >>> say("{n:,} movements in {room}, {share:.1%} of them", n=1234, room="2.14", share=0.125).numbers
    ((0, 5), (25, 30))
    """
    made = Sentence("")
    for literal, name, spec, _ in Formatter().parse(template):
        made += literal
        if name is not None:
            made += _part(values[name], spec or "")
    return made


def _part(value: object, spec: str) -> str:
    if isinstance(value, str):
        return value
    text = format(value, spec)
    return Sentence(text, [(0, len(text))]) if isinstance(value, Real) else text


def joined(parts: Iterable[str], between: str) -> Sentence:
    """Join sentences as ``str.join`` does."""
    made, first = Sentence(""), True
    for part in parts:
        made += part if first else Sentence(between) + part
        first = False
    return made
