"""The work on one building, done by a worker: files in, plain JSON out. The same whoever does it."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, field, replace
from typing import Any

import polars as pl

from tuning import __version__
from tuning.errors import TuningError
from tuning.estate.beliefs import seen_in
from tuning.estate.places import Building, at_hand
from tuning.estate.ranking import ranked_rows
from tuning.export import document
from tuning.logs import read_logs
from tuning.pipeline import analyse_logs
from tuning.site import LogLayout, Site, read_site


@dataclass(frozen=True)
class Outcome:
    """What came of a building.

    Attributes
    ----------
    building, fingerprint
        Which, and its inputs.
    analysis
        The contract's JSON, but for the time it was made at; ``None`` where it failed.
    rows, seen
        One row a channel for the ranking, and what its rooms teach about their use.
    readings
        Readings in the logs.
    seconds
        What it took.
    error
        One line, where it failed.
    lasting
        Whether the same inputs would fail in the same way again.
    tries
        How often it was begun; ``None`` where a cluster does not tell.
    """

    building: str
    fingerprint: str
    analysis: str | None = None
    site: str = ""
    rows: list[dict[str, Any]] = field(default_factory=list)
    seen: list[dict[str, Any]] = field(default_factory=list)
    readings: int = 0
    seconds: float = 0.0
    error: str | None = None
    lasting: bool = True
    tries: int | None = None


def analyse_building(building: Building, version: str = __version__) -> Outcome:
    """Analyse a building. What its inputs do wrong comes back as an error; what may pass by itself is raised, to be tried again.

    Raises
    ------
    OSError
        If a file cannot be read.
    """
    begin = time.perf_counter()
    failed = Outcome(building.name, building.fingerprint)
    if version != __version__:
        what = f"a worker runs holdoff {__version__}, not {version}. All must run the same. Install it there."
        return replace(failed, error=what, lasting=False)
    try:
        made = _analysed(building)
    except TuningError as error:
        if isinstance(error.__cause__, OSError):
            raise error.__cause__ from error
        return replace(failed, error=str(error), seconds=time.perf_counter() - begin)
    except OSError:
        raise
    except (Exception, pl.exceptions.PanicException) as error:  # noqa: BLE001  one building must not stop the others
        what = f"defect of the program: {type(error).__name__}: {' '.join(str(error).split())[:300]}"
        return replace(failed, error=what, lasting=False, seconds=time.perf_counter() - begin)
    return replace(made, seconds=time.perf_counter() - begin)


def _analysed(building: Building) -> Outcome:
    with at_hand(building) as folder:
        site = _partitioned(read_site(folder), building)
        logs = read_logs(folder, site)
        # A process a core: a second thread in each would only wait. Without pictures a building of a thousand rooms fits.
        analysis = analyse_logs(site, logs, workers=1, pictures=False)
    told = {key: value for key, value in document(analysis).items() if key != "generated"}
    return Outcome(
        building.name,
        building.fingerprint,
        analysis=json.dumps(told, indent=1, ensure_ascii=False, allow_nan=False) + "\n",
        site=analysis.site,
        rows=ranked_rows(building.name, analysis),
        seen=seen_in(analysis.channels),
        readings=int(logs.series["rows"].sum()),
    )


def _partitioned(site: Site, building: Building) -> Site:
    """Read Parquet from the partitions below, where ``site.toml`` does not say which files are logs and none lies beside it."""
    logs = [f.path for f in building.files if f.path.endswith(".parquet")]
    if site.logs or any("/" not in path for path in logs) or not any("=" in path for path in logs):
        return site
    return site.model_copy(update={"logs": (LogLayout(files="**/*.parquet"),)})
