"""Keeps what compiled libraries print by themselves away from the one line that a person is told."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager

from tuning.errors import TuningError

STDERR = 2


@contextmanager
def one_line_only() -> Iterator[None]:
    """Set what is written to standard error past Python aside, and let it out only where the program itself fails.

    Polars prints a report of its own where a damaged Parquet page breaks one of its threads, before it raises what becomes our one line.
    For a command only: it changes the whole process, so a server must not use it.
    """
    before = sys.__stderr__
    if before is None or sys.stderr is not before:
        # A test or another program holds standard error already.
        yield
        return
    before.flush()
    kept = os.dup(STDERR)
    with tempfile.TemporaryFile() as aside:
        os.dup2(aside.fileno(), STDERR)
        sys.stderr = os.fdopen(kept, "w", buffering=1, encoding=before.encoding, errors=before.errors, closefd=False)
        told = True
        try:
            yield
            told = False
        except (TuningError, OSError, KeyboardInterrupt, SystemExit):
            told = False
            raise
        finally:
            sys.stderr.flush()
            sys.stderr = before
            os.dup2(kept, STDERR)
            os.close(kept)
            if told:
                aside.seek(0)
                os.write(STDERR, aside.read())
