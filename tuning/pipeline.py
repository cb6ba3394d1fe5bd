"""Joins the steps: a building folder in, an :class:`~tuning.results.Analysis` out. The only module that knows all of them."""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Callable, Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl

from tuning import __version__
from tuning.channel.analyse import (
    ChannelInput,
    choose_together,
    companions,
    conclude,
    lights,
    minded,
    swapped_channels,
    understand,
)
from tuning.channel.steps import daily_of
from tuning.logs import Logs, read_logs
from tuning.motion import US
from tuning.presence.other_evidence import CIRCULATION, Passages, passages
from tuning.quality import Outage, find_outages, mend
from tuning.readings import RoomReadings
from tuning.results import Analysis, ChannelResult
from tuning.site import Site, read_site

WORKERS = 2
"""Rooms analysed at a time. Chosen by us: two cores are common, and each room more takes memory for its motions."""
Progress = Callable[[float, str], None]
"""Called with the share done (0…1) and what is being done."""


def _quiet(_share: float, _what: str) -> None:
    """Show no progress."""


def analyse_folder(folder: Path, *, progress: Progress | None = None, verdicts: pl.DataFrame | None = None) -> Analysis:
    """Read and analyse a building folder.

    Parameters
    ----------
    folder
        With ``site.toml`` and the logs.
    progress
        Called as the work goes on.
    verdicts
        Reviewers' words on switch-offs: ``room``, ``channel``, ``time`` (UTC), ``present`` (bool).

    Raises
    ------
    TuningError
        If the folder, its ``site.toml`` or a log has a problem that a person can mend.
    """
    site, logs, rest = read_folder(folder, progress)
    return analyse_logs(site, logs, progress=rest, verdicts=verdicts)


def read_folder(folder: Path, progress: Progress | None) -> tuple[Site, Logs, Progress]:
    """Read a building's ``site.toml`` and logs; also gives what to tell the progress of the rest to, which reading leaves three fifths.

    Raises
    ------
    TuningError
        If the folder, its ``site.toml`` or a log has a problem that a person can mend.
    """
    say = progress or _quiet
    site = read_site(folder)
    say(0.02, "reading logs")
    logs = read_logs(folder, site, progress=lambda share, what: say(0.02 + 0.38 * share, what))
    return site, logs, lambda share, what: say(0.4 + 0.6 * share, what)


def analyse_logs(
    site: Site,
    logs: Logs,
    *,
    progress: Progress | None = None,
    verdicts: pl.DataFrame | None = None,
    rooms: Collection[str] | None = None,
    outages: tuple[Outage, ...] | None = None,
    workers: int = WORKERS,
    pictures: bool = True,
) -> Analysis:
    """Analyse logs already read; only some rooms, or with silences already found, where given. See :func:`analyse_folder`.

    ``workers`` rooms at a time; ``pictures`` says whether the frames that only pictures need are made and kept.
    """
    say = progress or _quiet
    site = site if logs.end is None else site.up_to(logs.end)
    results: list[ChannelResult] = []
    names = [name for name, room in site.rooms.items() if room.channels and (rooms is None or name in rooms)]
    outages = find_outages(logs) if outages is None else outages
    outside = walked_through(site, logs)

    def one(name: str) -> list[ChannelResult]:
        return analyse_room(site, logs, name, verdicts=verdicts, outages=outages, outside=outside, pictures=pictures)

    # Threads, not processes: the work is numpy's and polars', which let go of the interpreter, and nothing is copied.
    pool = ThreadPoolExecutor(workers, thread_name_prefix="room")
    try:
        for done, (name, found) in enumerate(zip(names, pool.map(one, names), strict=True)):
            say((done + 1) / len(names), f"analysed {site.rooms[name].name or name}")
            results += found
    finally:
        # Whoever breaks off from within the progress does not wait for the rooms not yet begun.
        pool.shutdown(cancel_futures=True)
    say(1.0, "done")
    return Analysis(
        site=site.site.name,
        currency=site.site.currency,
        time_zone=site.site.time_zone,
        generated=dt.datetime.now(dt.UTC).replace(microsecond=0),
        version=__version__,
        channels=tuple(results),
        findings=logs.findings,
        cost_per_false_off=site.site.cost_per_false_off,
        electricity_price=site.site.electricity_price,
    )


def analyse_room(
    site: Site,
    logs: Logs,
    room: str,
    *,
    verdicts: pl.DataFrame | None = None,
    outages: tuple[Outage, ...] | None = None,
    outside: Mapping[str, Passages] | None = None,
    pictures: bool = True,
) -> list[ChannelResult]:
    """Analyse all channels of a room; the ones that govern light first, because relays lean on what they learn. See :func:`analyse_logs`."""
    span = _span_us(logs)
    silences = find_outages(logs) if outages is None else outages
    mended = mend(site.rooms[room], RoomReadings(logs.by_quantity(room)), outages=silences)
    readings = mended.readings
    # Dimmed and switched channels first: people react to light, not to a relay.
    order = sorted(site.rooms[room].channels, key=lambda c: site.rooms[room].channels[c].control == "relay")
    swapped = swapped_channels(site.rooms[room], readings)
    done: dict[str, ChannelResult] = {}
    lead = None
    given = {}
    passing = walked_through(site, logs) if outside is None else outside
    passing = {other: times for other, times in passing.items() if other != room}
    for name in order:
        seed = zlib.crc32(f"{room}/{name}".encode())
        mine = mended.of_channel(name) + tuple(f for f in swapped if name in f.evidence["channels"])
        given[name] = ChannelInput(
            site,
            room,
            name,
            readings,
            span,
            seed,
            _verdicts_of(verdicts, room, name),
            None,
            mine,
            outside=passing,
            pictures=pictures,
        )
    # Whose dark people react to is asked of all lights of the room at once.
    lit = minded({name: lights(one) for name, one in given.items() if one.channel.control != "relay"})
    known = {}
    for name, one in given.items():
        beside = companions(lit, name) if name in lit else ()
        found = understand(replace(one, lead=lead, beside=beside), lit.get(name))
        if isinstance(found, ChannelResult):
            done[name] = found
        else:
            known[name] = found
            lead = lead or found.found.evidence
    # Who comes to the room for one channel sets the others too: the choice is made for all at once.
    done |= {name: conclude(known[name], chosen) for name, chosen in choose_together(known).items()}
    return [done[name] for name in site.rooms[room].channels]


def walked_through(site: Site, logs: Logs) -> dict[str, Passages]:
    """Movement in rooms that people walk through on their way, by room."""
    found = {}
    for name, room in site.rooms.items():
        if room.use in CIRCULATION:
            series = logs.series.filter((pl.col("room") == name) & (pl.col("quantity") == "motion"))["series"]
            moved = [logs.times_us(number)[logs.values(number) > 0] for number in series]
            found[name] = passages(np.sort(np.concatenate([np.empty(0, dtype=np.int64), *moved])))
    return found


def daily_of_room(
    site: Site, logs: Logs, room: str, *, outages: tuple[Outage, ...] | None = None
) -> dict[str, pl.DataFrame]:
    """Summarise a room day by day: DAILY of each of its channels. A small part of the work of an analysis."""
    silences = find_outages(logs) if outages is None else outages
    readings = mend(site.rooms[room], RoomReadings(logs.by_quantity(room)), outages=silences).readings
    span = _span_us(logs)
    return {
        name: daily_of(ChannelInput(site, room, name, readings, span, 0, None, None))
        for name in site.rooms[room].channels
    }


def _span_us(logs: Logs) -> tuple[int, int]:
    if logs.start is None or logs.end is None:
        return 0, 0
    return round(logs.start.timestamp() * US), round(logs.end.timestamp() * US)


def _verdicts_of(verdicts: pl.DataFrame | None, room: str, channel: str) -> pl.DataFrame | None:
    if verdicts is None:
        return None
    mine = verdicts.filter((pl.col("room") == room) & (pl.col("channel") == channel))
    return None if mine.is_empty() else mine


def worth_ranking(analysis: Analysis) -> list[ChannelResult]:
    """Channels by what tuning is worth a week, the most first; blocking findings before all."""
    blocked = [c for c in analysis.channels if c.decision == "fix-first"]
    rest = [c for c in analysis.channels if c.decision != "fix-first"]
    return blocked + sorted(rest, key=lambda c: -c.worth_per_week)


__all__ = ["Progress", "analyse_folder", "analyse_logs", "analyse_room", "daily_of_room", "worth_ranking"]
