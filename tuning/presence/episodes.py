"""Gaps → episodes and switch-offs, as frames for people and other programs."""

from __future__ import annotations

import numpy as np
import polars as pl

from tuning.gaps import ENDED_BY_MOTION, LOG_GAP, Gaps
from tuning.hold_off import Lags, observed_off_s
from tuning.light.circumstances import Circumstances
from tuning.motion import US, Floats, MotionLog
from tuning.presence.stillness import Classified
from tuning.schemas import EPISODES, SWITCH_OFFS

UNSWITCHED_BREAK_S = 900.0
"""Where nothing switches off, an episode ends after a pause of 15 min. Chosen by us; only a way to cut the log for people to read."""


def episodes(
    gaps: Gaps,
    motion: MotionLog,
    hold_off_s: Floats,
    seen: Classified | None = None,
    room: str = "",
    channel: str = "",
) -> pl.DataFrame:
    """Cut the log into episodes: maximal runs of motions between which the light did not go off.

    Parameters
    ----------
    gaps, motion
        The channel's gaps and motions.
    hold_off_s
        Hold-off in force in each gap. [s]
    seen
        Classification, for the lit time with nobody present; zero without it.

    Returns
    -------
    EPISODES frame. ``start`` and ``end`` are the first and last motion; ``lit_s`` runs to the switch-off.
    """
    n = len(motion.start_us)
    if n == 0:
        return EPISODES.to_frame()
    hold = np.where(np.isfinite(hold_off_s), hold_off_s, UNSWITCHED_BREAK_S)
    # A motion without a gap behind it touches its successor, or ends the log.
    closing = np.flatnonzero((gaps.gap_s > hold) | (gaps.end_kind != ENDED_BY_MOTION))
    last = gaps.motion_before[closing]
    gap_end = np.where(gaps.gap_s[closing] > hold[closing], 0, gaps.end_kind[closing])
    if len(last) == 0 or last[-1] != n - 1:
        last, gap_end = np.append(last, n - 1), np.append(gap_end, 2)
    first = np.append(0, last[:-1] + 1)
    lit_s = np.minimum(gaps.gap_s, hold)
    empty_s = np.zeros(len(gaps)) if seen is None else lit_s * (1 - seen.p_still)
    begins = np.append(0, closing + 1)[: len(last)]
    # The last episode may be a single movement without a gap.
    lit, empty = (np.add.reduceat(np.append(part, 0.0), begins) for part in (lit_s, empty_s))
    moving_us = motion.end_us - motion.start_us
    if moving_us.any():
        lit = lit + np.add.reduceat(moving_us / US, first)
    words = np.where(gap_end == 0, "hold-off", np.where(gap_end == LOG_GAP, "log-gap", "end-of-log"))
    return pl.DataFrame(
        {
            "room": [room] * len(last),
            "channel": [channel] * len(last),
            "start": motion.start_us[first],
            "end": motion.end_us[last],
            "motions": (last - first + 1).astype(np.uint32),
            "lit_s": lit,
            "lit_empty_s": empty,
            "ended_by": words.tolist(),
        }
    ).cast(dict(EPISODES))  # type: ignore[arg-type]


def switch_offs(
    gaps: Gaps,
    room: str,
    channel: str,
    hold_off_s: Floats,
    seen: Classified,
    around: Circumstances,
    lags: Lags,
    said: Floats | None,
) -> pl.DataFrame:
    """List every expiry of the hold-off in force, with the probability that it left somebody in the dark.

    ``said`` are reviewers' words by gap: 1 somebody was there, 0 nobody, NaN no word.

    Returns
    -------
    SWITCH_OFFS frame in the order of time.
    """
    seen_off = observed_off_s(gaps, lags)
    after = np.where(np.isfinite(seen_off), seen_off, hold_off_s)
    # Where the output is logged, an expiry that the output does not show switched nothing off.
    happened = np.isfinite(seen_off) if len(lags.off_us) else (gaps.gap_s > hold_off_s) & (around.lit > 0.5)
    if gaps.recorded_s is not None:
        # Movement somewhere in the sample of the switch-off hides it from the lags.
        happened = happened | ((gaps.gap_s > hold_off_s) & (around.lit > 0.5))
    row = np.flatnonzero(happened)
    off_us = gaps.start_us[row] + np.round(after[row] * US).astype(np.int64)
    complete = gaps.end_kind[row] == ENDED_BY_MOTION
    resumed = np.where(complete, np.maximum(gaps.gap_s[row] - after[row], 0.0), np.nan)
    review: list[str | None] = [None] * len(row)
    if said is not None:
        review = [{1.0: "present", 0.0: "absent"}.get(word) for word in said[row].tolist()]
    return (
        pl.DataFrame(
            {
                "time": off_us,
                "room": [room] * len(row),
                "channel": [channel] * len(row),
                "gap_s": np.where(complete, gaps.gap_s[row], np.nan),
                "resumed_after_s": resumed,
                "daylight_lx": around.daylight_lx[row],
                "p_false": seen.p_false[row],
                "review": review,
            },
            schema_overrides={"review": pl.String},
        )
        .cast(SWITCH_OFFS)
        .with_columns(pl.col("gap_s", "resumed_after_s", "daylight_lx").fill_nan(None))
    )
