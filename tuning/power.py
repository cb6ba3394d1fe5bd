"""Light output → power."""

from __future__ import annotations

import numpy as np

from tuning.motion import Floats
from tuning.site import Channel


def power_of_output(output_pct: Floats, channel: Channel, load_w: float) -> Floats:
    """Power at given outputs. [W]; the given curve, else linear between standby and load.

    Parameters
    ----------
    output_pct
        Light output, any shape. [%]
    channel
        For its power curve and its standby.
    load_w
        Power at full output. [W]
    """
    if channel.power_curve:
        x, y = np.array(sorted(channel.power_curve)).T
        return np.interp(output_pct, x, y)
    lit = channel.standby_w + (load_w - channel.standby_w) * output_pct / 100.0
    return np.where(output_pct > 0, lit, channel.standby_w)
