"""holdoff: from building logs of presence detectors to settings per channel, with reasons.

Data flows one way through the modules of this package, in the order below::

    logs        files → readings
    motion      readings → motions (what a row covers, where the log can be trusted)
    gaps        motions → gaps
    hold_off    output and motions → the hold-off in force
    light       illuminance and output → daylight and lamps
    circumstances   what the light was doing in each gap
    stillness   gaps → stillness, absence or reaction
    spells      stillness → how long people keep still
    rates       → false-offs, waste and energy a week under every candidate
    target      light → target illuminance
    decision    rates and prices → the setting to choose
    diagnosis   what is wrong with the log or the room
    pipeline    joins the steps
"""

import os

from tuning.errors import FolderError, LogError, SiteError, TuningError

# Rooms are analysed side by side, and their matrices are small: threads of the linear algebra would spin and wait for each other. Read when
# numpy is first imported, so it binds nobody who imported it before, or set it otherwise.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"

__all__ = ["FolderError", "LogError", "SiteError", "TuningError", "__version__"]
