"""A server of PostgreSQL for the tests alone: in a temporary folder, reached through a socket in it and by nothing else.

``python -m tests.postgres COMMAND…`` runs a command with such a server, whose URL it finds in HOLDOFF_TEST_DATABASE. Needs Debian's ``postgresql``.
"""

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

VARIABLE = "HOLDOFF_TEST_DATABASE"
LIBRARY = Path("/usr/lib/postgresql")
USER = "holdoff"


def programs():
    """Folder of the newest server's programs; ``None`` where there is none."""
    found = sorted(LIBRARY.glob("*/bin/postgres"), key=lambda p: float(p.parts[-3]))
    return found[-1].parent if found else None


def _as_somebody():
    """The server refuses to be root's: Debian's package comes with a user for it."""
    if os.geteuid() != 0:
        return {}
    them = pwd.getpwnam("postgres")
    return {"user": them.pw_uid, "group": them.pw_gid, "extra_groups": []}


class Server:
    """A running server. ``safe``: whether what was committed outlives the machine, which costs time."""

    def __init__(self, folder, *, safe=False):
        self.folder, self._as = folder, _as_somebody()
        if self._as:
            shutil.chown(folder, self._as["user"], self._as["group"])
        self.url = f"postgresql://{USER}@/postgres?host={folder}"
        self._run(
            "initdb", "-D", folder / "data", "-U", USER, "--auth=trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8"
        )  # fmt: skip
        off = [] if safe else ["-c", "fsync=off", "-c", "full_page_writes=off"]
        self._options = [*off, "-c", "listen_addresses=", "-c", f"unix_socket_directories={folder}"]
        self.process = None
        self.start()

    def _run(self, program, *arguments):
        done = subprocess.run(
            [programs() / program, *arguments], cwd=self.folder, capture_output=True, text=True, check=False, **self._as
        )
        assert done.returncode == 0, f"{program}: {done.stdout}{done.stderr}"

    def start(self):
        """Start it; returns when it answers."""
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [programs() / "postgres", "-D", self.folder / "data", *self._options],
                stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd=self.folder, **self._as
            )  # fmt: skip
        end = time.monotonic() + 60
        while subprocess.run([programs() / "pg_isready", "-q", "-h", self.folder], check=False).returncode:
            assert self.process.poll() is None, (self.folder / "log").read_text(errors="replace")
            assert time.monotonic() < end, "the server never answered"
            time.sleep(0.05)

    def stop(self, how=signal.SIGINT):
        """End it: SIGINT in good order, SIGQUIT at once, so that it has to mend itself when it is started again."""
        self.process.send_signal(how)
        self.process.wait(60)


@contextlib.contextmanager
def running(*, safe=False):
    """A server, until the block ends."""
    # The path of a socket may have a hundred characters.
    folder = Path(tempfile.mkdtemp(prefix="holdoff-pg-", dir="/tmp"))
    try:
        server = Server(folder, safe=safe)
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def main(command):
    if programs() is None:
        print("postgresql is missing: apt-get install postgresql", file=sys.stderr)
        return 1
    with running() as server:
        return subprocess.run(command, env=os.environ | {VARIABLE: server.url}, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
