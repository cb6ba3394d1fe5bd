"""The command as somebody runs it: in a process of its own, or in this one, which spares its imports."""

import contextlib
import io
import subprocess
import sys
from unittest.mock import patch

from tuning import cli


def started(*words):
    """Run it as a process."""
    return subprocess.run(
        [sys.executable, "-m", "tuning.cli", *map(str, words)], capture_output=True, text=True, timeout=120, check=False
    )


def run(*words):
    """Run it here, from its arguments to its exit status, with what it writes caught as by pipes."""
    out, err, status = io.StringIO(), io.StringIO(), 0
    with (
        patch.object(sys, "argv", ["holdoff", *map(str, words)]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            cli.main()
        except SystemExit as ended:
            status = ended.code or 0
    return subprocess.CompletedProcess(words, status, out.getvalue(), err.getvalue())
