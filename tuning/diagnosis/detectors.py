"""Detectors that are dead, add nothing, or are not obeyed."""

from __future__ import annotations

import numpy as np
import polars as pl

from tuning.diagnosis.facts import Facts, local_day
from tuning.gaps import Bools
from tuning.hold_off import MIN_SWITCH_OFFS, Lags, sharp_mode, switch_off_lags
from tuning.motion import US, Ints, by_series, motions, times_us
from tuning.quality.dead import last_alive_us
from tuning.readings import RoomReadings
from tuning.results import Finding
from tuning.sentence import say
from tuning.wording import iso_times

SILENT_BESIDE_DAYS = 3
"""Days on which other detectors of the room go on seeing people while one is silent. Chosen by us."""


def detector_findings(facts: Facts) -> list[Finding]:
    """Find what is wrong with the detectors of a channel, one by one."""
    series = _series(facts)
    found = [] if len(series) < 2 else _among_several(facts, series)
    dead = _all_dead(facts)
    return [*found, *([dead] if dead else [])]


def _all_dead(facts: Facts) -> Finding | None:
    last = last_alive_us(facts.motion, facts.span_us)
    if last is None:
        return None
    days = (facts.span_us[1] - last) / US / 86400
    return Finding(
        "detector-dead",
        "blocking",
        f"No movement was seen in the last {days:.0f} days of the log, while the building's log goes on. Check the detector, its supply and whether "
        "its motion is still logged; wiring is for licensed electricians. Those days count for nothing here.",
        {"times": iso_times([last]), "silent_days": round(days, 1)},
    )


def _series(facts: Facts) -> dict[str, pl.DataFrame]:
    """Motion rows of a channel by detector."""
    rows = facts.readings.of_channel("motion", facts.name)
    parts = by_series(rows, "channel", "detector")
    if len(parts) == 1:
        return {"unnamed": rows}
    return {str(p["detector"][0] or p["channel"][0] or "unnamed"): p for p in parts}


def _among_several(facts: Facts, series: dict[str, pl.DataFrame]) -> list[Finding]:
    moved = {name: times_us(rows.filter(pl.col("value") > 0)) for name, rows in series.items()}
    found: list[Finding] = []
    for name, t in moved.items():
        others = np.sort(np.concatenate([u for other, u in moved.items() if other != name]))
        finding = _one_dead(facts, name, t, others) or _never_alone(name, t, others, moved)
        if finding is not None:
            found.append(finding)
    ignored = _ignored(facts, series)
    return [*found, *([ignored] if ignored else [])]


def _one_dead(facts: Facts, name: str, t: Ints, others: Ints) -> Finding | None:
    """One of several is silent to the end on days on which the others see people."""
    if len(others) == 0:
        return None
    last = int(t[-1]) if len(t) else facts.span_us[0]
    busy_days = np.unique(local_day(others, facts.offset_us))
    own_days = np.unique(local_day(t, facts.offset_us))
    after = busy_days[busy_days > local_day(np.array([last]), facts.offset_us)[0]]
    before = busy_days[busy_days < local_day(np.array([last]), facts.offset_us)[0]]
    usual = float(np.isin(before, own_days).mean()) if len(before) else 1.0
    # Chance that a detector which sees something on this share of the days sees nothing on all of these.
    if len(after) < SILENT_BESIDE_DAYS or (1 - min(usual, 0.99)) ** len(after) > 1e-4:
        return None
    return Finding(
        "detector-dead",
        "warning",
        f"Detector {name} has seen nothing since the time below, on {len(after)} days on which the others of the room saw people. Check it, its "
        "supply and its line; wiring is for licensed electricians.",
        {"times": iso_times([last]), "detector": name, "silent_days": len(after)},
    )


ALONE_S = 60.0
"""Two detectors that see the same within a minute see the same person. Chosen by us."""
ALONE_SHARE, LEAST_SEEN = 0.005, 300
"""A detector that is alone in fewer of its movements adds nothing; so many movements tell. Chosen by us."""


def _alone(t: Ints, others: Ints) -> Bools:
    after = np.minimum(np.searchsorted(others, t), len(others) - 1)
    before = np.maximum(after - 1, 0)
    apart = np.minimum(np.abs(others[after] - t), np.abs(t - others[before]))
    return np.asarray(apart > ALONE_S * US)


def _never_alone(name: str, t: Ints, others: Ints, moved: dict[str, Ints]) -> Finding | None:
    if len(t) < LEAST_SEEN or len(others) < LEAST_SEEN:
        return None
    share = float(_alone(t, others).mean())
    theirs = float(_alone(others, t).mean())
    if share > ALONE_SHARE or theirs < 10 * max(share, 1 / len(t)):
        return None
    return Finding(
        "detector-never-alone",
        "info",
        say(
            "Detector {name} saw {seen:,} movements, and in {share:.1%} of them it was the only one to see anything within a minute. "
            "Where it hangs it adds nothing to the others: move it to where people are not seen.",
            name=name,
            seen=len(t),
            share=share,
        ),
        {"detector": name, "movements": len(t), "alone_share": round(share, 4), "detectors": sorted(moved)},
    )


IGNORED_SHARE, IGNORED_MORE, IGNORED_LEAST = 0.5, 0.1, 8
"""Share of the switch-offs that have one lag when a detector is left out, by how much it exceeds that with the detector, and by how many
switch-offs; and it must at least halve the rest that has another lag. Chosen by us."""


def _ignored(facts: Facts, series: dict[str, pl.DataFrame]) -> Finding | None:
    """The light goes off a fixed time after the last movement that *other* detectors saw, whatever one of them sees."""
    with_all = _share(facts.lags)
    best: tuple[float, str, Lags] | None = None
    for name, rows in series.items():
        own = facts.readings.frame.join(
            rows.select("time", "channel", "detector", quantity=pl.lit("motion")).unique(),
            on=["time", "channel", "detector", "quantity"],
            how="anti",
            nulls_equal=True,
        )
        log = motions(RoomReadings(own), facts.name, span_us=facts.span_us)
        lags = switch_off_lags(facts.output, log, facts.presses_us)
        share = _share(lags)
        more = (share - with_all) * len(lags.off_us)
        clear = share >= max(IGNORED_SHARE, with_all + IGNORED_MORE) and more >= IGNORED_LEAST
        if clear and 1 - share <= 0.5 * (1 - with_all) and (best is None or share > best[0]):
            best = (share, name, lags)
    if best is None:
        return None
    share, name, lags = best
    hold = sharp_mode(lags, slice(None))
    seen = times_us(series[name].filter(pl.col("value") > 0))
    last = np.searchsorted(seen, lags.off_us) - 1
    since = (lags.off_us - seen[np.maximum(last, 0)]) / US
    over = lags.off_us[(last >= 0) & (since < 0.8 * (hold[0] if hold else 60.0))]
    return Finding(
        "detector-ignored",
        "warning",
        f"{share:.0%} of the switch-offs come {hold[0] if hold else 0:.0f} s after the last movement of the other detectors, whatever "
        f"{name} sees; counting {name}, only {with_all:.0%} do. {len(over)} times the light went off over somebody whom {name} saw. "
        f"Check that {name} is assigned to this channel.",
        {
            "times": iso_times(over),
            "detector": name,
            "switch_offs_over_somebody": len(over),
            "agreeing_share": round(share, 2),
        },
    )


def _share(lags: Lags) -> float:
    if len(lags.low_s) < MIN_SWITCH_OFFS:
        return 0.0
    found = sharp_mode(lags, slice(None))
    return 0.0 if found is None else found[1]
