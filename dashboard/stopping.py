"""Ends the server in good order: nobody new is let in, what is being answered is answered, then it goes."""

from __future__ import annotations

import threading
import time
from contextlib import suppress
from typing import Any

LOOK_S = 0.02


class Stop:
    """Ends a waitress server that runs in the main thread; :meth:`ask` may be called from a signal handler, also more than once."""

    def __init__(self, server: Any, *, patience_s: float) -> None:
        self._server, self._patience_s = server, patience_s
        self._thread: threading.Thread | None = None
        self.cut_off = 0
        """Requests that were not answered in time."""

    def ask(self) -> None:
        """Begin to end; ``server.run()`` returns once everybody has their answer, or patience is over."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._end, name="stop", daemon=True)
            self._thread.start()

    def _end(self) -> None:
        server, until = self._server, time.monotonic() + self._patience_s
        # Sockets belong to the loop: closed under its select, they would be an error there.
        server.trigger.pull_trigger(self._stop_listening)
        while self._busy() and time.monotonic() < until:
            time.sleep(LOOK_S)
        # A loop that something else wakes just then hangs up, and closes what would wake it before that is done.
        with suppress(OSError):
            server.trigger.pull_trigger(self._hang_up)

    def _stop_listening(self) -> None:
        self._server.del_channel()
        self._server.socket.close()

    def _busy(self) -> int:
        """How many are being answered; the others, whose browsers only hold the line, are hung up on."""
        busy = 0
        for channel in list(self._server.active_channels.values()):
            if channel.requests or channel.request is not None or channel.total_outbufs_len:
                busy += 1
            else:
                channel.will_close = True
        self._server.pull_trigger()
        return busy

    def _hang_up(self) -> None:
        for channel in list(self._server.active_channels.values()):
            self.cut_off += bool(channel.requests)
            channel.handle_close()
        self._server.close()
