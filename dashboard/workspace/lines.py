"""One line of JSON on standard error for each thing that happens: requests, jobs, workers. For whoever runs the server; never a secret.

Without :func:`begin` nothing is written. A line has ``at``, ``event`` and what else is known; people's names are left to the audit log.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
from typing import Any, Final

from sqlalchemy import event as events
from sqlalchemy.orm import Session

LINES: Final = logging.getLogger("holdoff")
REQUESTS: Final = logging.getLogger("holdoff.requests")
JOBS: Final = logging.getLogger("holdoff.jobs")
PROCESSES: Final = logging.getLogger("holdoff.processes")


class _Line(logging.Formatter):
    """Writes what libraries log as a line of the same form."""

    def format(self, record: logging.LogRecord) -> str:
        """Write it."""
        trace = self.formatException(record.exc_info) if record.exc_info else None
        return line("log", logger=record.name, level=record.levelname, text=record.getMessage(), trace=trace)


def begin() -> None:
    """Have this process write its lines, and what libraries have to say as lines, too."""
    LINES.addHandler(logging.StreamHandler())
    LINES.setLevel(logging.INFO)
    LINES.propagate = False
    others = logging.StreamHandler()
    others.setFormatter(_Line())
    logging.getLogger().addHandler(others)


def written() -> bool:
    """Whether anybody wants them."""
    return LINES.isEnabledFor(logging.INFO)


def say(what: logging.Logger, event: str, /, **known: Any) -> None:
    """Write a line; what is ``None`` is left out."""
    if what.isEnabledFor(logging.INFO):
        what.info(line(event, **known))


def line(event: str, /, **known: Any) -> str:
    """Word a line."""
    at = dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds")
    return json.dumps(
        {"at": at, "event": event} | {k: v for k, v in known.items() if v is not None}, ensure_ascii=False
    )


def say_once_kept(session: Session, what: logging.Logger, event: str, /, **known: Any) -> None:
    """Write a line once the transaction is kept, and not where it is not."""
    events.listen(session, "after_commit", lambda _session: say(what, event, **known), once=True)
