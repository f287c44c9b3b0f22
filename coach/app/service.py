"""What systemd is told by a service of Type=notify (sd_notify(3)); elsewhere nothing happens.

The protocol is one datagram of text a message; the packages for it are no longer kept.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Mapping
from contextlib import suppress


class Service:
    """Readiness, signs of life and the end, as the environment of systemd asks for them."""

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        if self._address.startswith("@"):  # an abstract socket
            self._address = "\0" + self._address[1:]
        watchdog_s = int(environment.get("WATCHDOG_USEC") or 0) / 1e6
        self._every_s = watchdog_s / 2  # as sd_watchdog_enabled(3) advises
        self._beat_s = 0.0

    def ready(self) -> None:
        """The room is open."""
        self._tell("READY=1")

    def beat(self) -> None:
        """The program is alive; may be called as often as one likes."""
        now_s = time.monotonic()
        if self._every_s and now_s - self._beat_s >= self._every_s:
            self._beat_s = now_s
            self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        """The program is about to end."""
        self._tell("STOPPING=1")

    def _tell(self, message: str) -> None:
        if not self._address:
            return
        # systemd gone or restarting is no reason to end a practice
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
            channel.setblocking(False)  # nor is one that does not read
            channel.sendto(message.encode(), self._address)
