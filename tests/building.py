"""Small building folders for tests, written by hand so that every figure in them is known."""

import datetime as dt
from pathlib import Path

import polars as pl

SITE = """
[site]
name = "Test house"
time_zone = "Europe/Copenhagen"
[rooms.a]
name = "Room A"
use = "office"
[rooms.a.channels.main]
load_w = 200
hold_off_s = 300
target_lx = 500
"""
START = dt.datetime(2026, 1, 12, 8, tzinfo=dt.UTC)


def rows(values, *, room="a", channel="", quantity="motion", start=START):
    """Long rows from (seconds after the start, value) pairs."""
    return [
        {
            "time": start + dt.timedelta(seconds=t),
            "room": room,
            "channel": channel,
            "quantity": quantity,
            "value": float(v),
        }
        for t, v in values
    ]


def office_days(days=14, *, hold_off_s=300):
    """Two weeks of a made-up office: work in bursts and pauses from 8 to 16 h, a lunch, and the lamp that follows."""
    motion, output = [], []
    for day in range(days):
        t = day * 86400.0
        end = t + 8 * 3600
        k = 0
        while t < end:
            motion.append((t, 1))
            k += 1
            # Every 7th pause is 80 s, every 60th 400 s (longer than the hold-off), lunch after the 200th.
            t += 3600 if k == 200 else 400 if k % 60 == 0 else 80 if k % 7 == 0 else 11
    on = False
    for (t, _), (following, _) in zip(motion, [*motion[1:], (motion[-1][0] + 1e6, 1)], strict=True):
        if not on:
            output.append((t, 100))
            on = True
        if following - t > hold_off_s:
            output.append((t + hold_off_s, 0))
            on = False
    return rows(motion) + rows(output, channel="main", quantity="output")


def write(folder: Path, log, *, site: str = SITE, name: str = "log.parquet") -> Path:
    """Write a building folder."""
    (folder / "site.toml").write_text(site, encoding="utf-8")
    frame = pl.DataFrame(log)
    if name.endswith(".csv"):
        frame.with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%SZ")).write_csv(folder / name)
    else:
        frame.write_parquet(folder / name)
    return folder
