"""A large building to measure speed on: many channels, millions of motion rows, outputs that follow, illuminance in some rooms.

    python -m tests.benchmarks.large_building FOLDER --channels 100 --rows 20000000

Only the load is realistic, not the people: pauses come from a mixture (busy, quiet, short and long absences), days have opening hours, the
light goes off under the hold-off in force, and people who are there react within seconds. There is no truth to compare with.
"""

import argparse
from pathlib import Path

import numpy as np
import polars as pl

US = 1_000_000
START_US = 1_767_571_200 * US  # Monday 2026-01-05 00:00 UTC
DAY_S, OPEN_S = 86_400.0, 36_000.0
USES = ("office", "open-plan office", "meeting room", "classroom", "corridor", "toilet", "reading room", "store room")
HOLD_OFFS_S = (180, 300, 600, 900, 1200)
LUX_EVERY, LUX_STEP_S = 3, 300.0
"""Every third room has illuminance, every five minutes."""
SPOTS = """\
[[rooms.room{0:03d}.channels.main.spot_readings]]
output_pct = 100
task_lx = 700
detector_lx = 400
[[rooms.room{0:03d}.channels.main.spot_readings]]
output_pct = 0
task_lx = 300
detector_lx = 200
"""
SCHEMA = pl.Schema(
    {
        "time": pl.Datetime("us", "UTC"),
        "room": pl.String(),
        "channel": pl.String(),
        "quantity": pl.String(),
        "value": pl.Float64(),
    }
)


def _pauses(rng, rows, hold_off_s):
    """Pauses [s] of people and of empty rooms; a present person in the dark reacts."""
    kind = rng.choice(4, rows, p=(0.955, 0.035, 0.007, 0.003))
    median = np.array([rng.uniform(4, 9), rng.uniform(60, 150), 240.0, 1500.0])[kind]
    pause = median * np.exp(np.array([0.8, 1.0, 0.6, 0.5])[kind] * rng.standard_normal(rows))
    in_the_dark = (kind < 2) & (pause > hold_off_s) & (rng.random(rows) < 0.8)
    reaction = 4.0 * np.exp(0.5 * rng.standard_normal(rows))
    return np.round(np.maximum(np.where(in_the_dark, hold_off_s + reaction, pause), 0.5), 3)


def _motion(rng, rows, hold_off_s):
    """Times of motions [s] within opening hours of working days, increasing."""
    open_s = np.cumsum(_pauses(rng, rows, hold_off_s))
    day = (open_s // OPEN_S).astype(np.int64)
    return (day // 5 * 7 + day % 5) * DAY_S + 7.5 * 3600 + open_s % OPEN_S


def output_of(motion, hold_off_s, level):
    """Switch-on at the first motion, switch-off a hold-off after the last: times [s] and percent."""
    expires = np.append(np.diff(motion) > hold_off_s, True)
    on = motion[np.append(True, expires[:-1])]
    off = motion[expires] + hold_off_s
    time = np.stack([on, off], axis=1).ravel()
    return time, np.tile([level, 0.0], len(on))


def illuminance(rng, motion, output, lamp_lx):
    """Daylight of a half sine plus the lamps, with noise, rounded to 1 lx."""
    t = np.arange(0.0, motion[-1] + DAY_S, LUX_STEP_S)
    sky = np.maximum(np.sin(np.pi * ((t % DAY_S) / 3600 - 6) / 12), 0.0)
    cloud = rng.uniform(0.2, 1.0, int(t[-1] // 3600) + 1)[(t // 3600).astype(np.int64)]
    at = np.searchsorted(output[0], t, side="right") - 1
    lit = np.where(at >= 0, output[1][np.maximum(at, 0)], 0.0) / 100
    return t, np.round((400 * sky * cloud + lamp_lx * lit) * rng.normal(1.0, 0.01, len(t)))


def frame_of(room, channel, quantity, time_s, value):
    time = pl.Series(np.round(np.asarray(time_s) * US).astype(np.int64) + START_US).cast(SCHEMA["time"])
    names = (pl.lit(word, dtype=pl.String).alias(key) for key, word in (("room", room), ("channel", channel)))
    return pl.DataFrame({"time": time, "value": np.asarray(value, dtype=np.float64)}).select(
        "time", *names, pl.lit(quantity).alias("quantity"), "value"
    )


def room_log(number, rows, lux_every=LUX_EVERY):
    """The log of one room with one channel: `rows` motions and what the light did."""
    rng = np.random.default_rng([7, number])
    room, hold_off_s = f"room{number:03d}", HOLD_OFFS_S[number % len(HOLD_OFFS_S)]
    motion = _motion(rng, rows, hold_off_s)
    output = output_of(motion, hold_off_s, 100.0)
    frames = [frame_of(room, None, "motion", motion, np.ones(rows)), frame_of(room, "main", "output", *output)]
    if number % lux_every == 0:
        frames.append(frame_of(room, "main", "illuminance", *illuminance(rng, motion, output, rng.uniform(250, 500))))
    return pl.concat(frames).sort("time")


def write_large_building(folder, *, channels, rows, lux_every=LUX_EVERY):
    """Write ``site.toml`` and ten Parquet files at most, rooms in blocks, so that writing needs little memory.

    Every so many rooms have illuminance; where all have, they have spot readings, too, so that a target can be recommended.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tables = [
        f'[rooms.room{i:03d}]\nuse = "{USES[i % len(USES)]}"\n[rooms.room{i:03d}.channels.main]\nload_w = {150 + 7 * i}\n'
        f"hold_off_s = {HOLD_OFFS_S[i % len(HOLD_OFFS_S)]}\ntarget_lx = 400\n"
        + (SPOTS.format(i) if lux_every == 1 else "")
        for i in range(channels)
    ]
    (folder / "site.toml").write_text(
        '[site]\nname = "Large"\ntime_zone = "Europe/Copenhagen"\n' + "".join(tables), encoding="utf-8"
    )
    for block in range(0, channels, 10):
        logs = [room_log(i, rows // channels, lux_every) for i in range(block, min(block + 10, channels))]
        pl.concat(logs).sort("time").write_parquet(folder / f"log_{block:03d}.parquet")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--channels", type=int, default=100)
    parser.add_argument("--rows", type=int, default=20_000_000)
    given = parser.parse_args()
    write_large_building(given.folder, channels=given.channels, rows=given.rows)


if __name__ == "__main__":
    main()
