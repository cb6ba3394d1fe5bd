"""Which rooms to show, in which order. Plain functions on results, no elements."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from tuning.results import Analysis, ChannelResult, Decision, Finding


@dataclass(frozen=True)
class RoomRow:
    """A room with its channels, in the order of ``site.toml``."""

    room: str
    name: str
    use: str
    channels: tuple[ChannelResult, ...]

    @property
    def worth(self) -> float:
        """What tuning the room saves a week."""
        return sum(c.worth_per_week for c in self.channels if c.decision in ("change", "trial"))

    @property
    def blocked(self) -> bool:
        """Whether something has to be mended first."""
        return any(c.decision == "fix-first" for c in self.channels)

    def total(self, field: str, *, new: bool = False) -> float:
        """Sum a weekly rate over the channels that have one."""
        rates = (c.recommended_rates if new else c.current_rates for c in self.channels)
        return sum(getattr(r, field) for r in rates if r is not None)


@dataclass(frozen=True)
class Order:
    """One way to put rooms in order."""

    label: str
    key: Callable[[RoomRow], tuple[object, ...]]


SORTS: dict[str, Order] = {
    "worth": Order("Worth most first", lambda r: (not r.blocked, -r.worth, r.name)),
    "nuisance": Order("Most false-offs first", lambda r: (-r.total("false_offs"), r.name)),
    "waste": Order("Most wasted light first", lambda r: (-r.total("wasted_on_h"), r.name)),
    "name": Order("By name", lambda r: (r.name.casefold(), r.room)),
}


def rooms(analysis: Analysis) -> list[RoomRow]:
    """Group channels by room."""
    grouped: dict[str, list[ChannelResult]] = {}
    for c in analysis.channels:
        grouped.setdefault(c.room, []).append(c)
    return [RoomRow(room, cs[0].room_name or room, cs[0].use, tuple(cs)) for room, cs in grouped.items()]


def matches(c: ChannelResult, query: str) -> bool:
    """Whether every word of the query occurs in what names the channel."""
    text = " ".join([c.room, c.room_name, c.use, c.channel, c.control, *(f.code for f in c.findings)]).casefold()
    return all(word in text for word in query.casefold().split())


def select(found: Iterable[RoomRow], *, query: str, decisions: Iterable[str], sort: str) -> list[RoomRow]:
    """Filter and order rooms; of a room only the channels that match stay.

    Parameters
    ----------
    found
        All rooms.
    query
        Words that must all occur.
    decisions
        Decisions to show; all where empty.
    sort
        Key of :data:`SORTS`; ``worth`` for anything else.
    """
    wanted = set(decisions)
    kept = []
    for row in found:
        channels = tuple(c for c in row.channels if matches(c, query) and (not wanted or c.decision in wanted))
        if channels:
            kept.append(RoomRow(row.room, row.name, row.use, channels))
    return sorted(kept, key=SORTS.get(sort, SORTS["worth"]).key)


ANSWERED_BY_HOLD_OFF = ("hold-off-too-short", "hold-off-too-long")


def answered(c: ChannelResult, f: Finding) -> bool:
    """Whether the recommended settings already answer a finding, so that nobody has to look for a cause."""
    if f.code in ANSWERED_BY_HOLD_OFF:
        return c.recommended.hold_off_s != c.current.hold_off_s
    return f.code == "over-lit" and c.recommended.target_lx != c.current.target_lx


def attention(analysis: Analysis) -> list[tuple[ChannelResult, Finding]]:
    """What needs somebody on site and no mere setting: blocking findings, then warnings, rooms worth most first."""
    rank = {"blocking": 0, "warning": 1}
    told = [(c, f) for c in analysis.channels for f in c.findings if f.severity in rank and not answered(c, f)]
    return sorted(told, key=lambda x: (rank[x[1].severity], -x[0].worth_per_week))


def counts(analysis: Analysis) -> dict[Decision, int]:
    """How many channels each decision has."""
    total: dict[Decision, int] = {}
    for c in analysis.channels:
        total[c.decision] = total.get(c.decision, 0) + 1
    return total
