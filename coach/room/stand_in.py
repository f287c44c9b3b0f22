"""A sound server's stand-ins: a loudspeaker or a microphone of nobody.

When a device is gone and no other is there, PulseAudio (module-always-sink) and PipeWire
(module-fallback-sink) move its streams to one, "Dummy Output"; a microphone's may also come to
record what the loudspeaker plays. They run on as if nothing had happened, and nobody hears or is
heard. Only the server knows; where there is none (macOS, Windows, plain ALSA) the streams of a
lost device end or stand still.
"""

from __future__ import annotations

import importlib
import os
from collections.abc import Iterator
from typing import Any

from coach.room.devices import Direction

NAME = "auto_null"  # with both servers; its monitor and PulseAudio's stand-in source begin with it
PROCESS = "application.process.id"


class StandIns:
    """Looks where the server has put this program's streams.

    Whoever begins with a loudspeaker's monitor for a microphone has chosen it; later it is a
    stand-in.
    """

    def __init__(self) -> None:
        self.server_knows = False  # whether there is one that has had a stream of ours
        self._records_monitor: bool | None = None  # as it was chosen

    def look(self) -> frozenset[Direction]:
        """Which streams have no device of their own; none where nobody can tell.

        May hang if the server does.
        """
        try:
            pulsectl = importlib.import_module("pulsectl")
        except (ImportError, OSError):  # without the package, or the library that it binds
            return frozenset()
        try:
            with pulsectl.Pulse("coach") as server:
                return frozenset(self._look(server))
        except (pulsectl.PulseError, pulsectl.PulseDisconnected):  # there is no server
            return frozenset()

    def _look(self, server: Any) -> Iterator[Direction]:
        sinks = {sink.index: sink for sink in server.sink_list()}
        for stream in filter(_is_ours, server.sink_input_list()):
            self.server_knows = True
            if stream.sink in sinks and sinks[stream.sink].name.startswith(NAME):
                yield "output"
        sources = {source.index: source for source in server.source_list()}
        for stream in filter(_is_ours, server.source_output_list()):
            if stream.source in sources and self._is_stand_in(sources[stream.source]):
                yield "input"

    def _is_stand_in(self, source: Any) -> bool:
        if source.name.startswith(NAME):
            return True
        is_monitor = source.monitor_of_sink_name is not None
        if self._records_monitor is None:
            self._records_monitor = is_monitor
        return is_monitor and not self._records_monitor


def _is_ours(stream: Any) -> bool:
    return bool(stream.proplist.get(PROCESS) == str(os.getpid()))
