"""A private PulseAudio as the room: what the null sink plays is what its monitor records.

The test process must not keep the environment of one server while it talks to another, so
real streams are opened in child processes that get `SoundServer.environment`.
"""

from __future__ import annotations

import ctypes.util
import os
import re
import shutil
import signal
import subprocess
import tempfile
import time
from contextlib import suppress
from pathlib import Path

PROGRAMS = ("pulseaudio", "pactl", "parec", "paplay")
READY_S = 15.0
LATE = "latency_msec=40 adjust_time=0"  # it would bend the rate, and no room does that
# A frame is a whole number of microseconds, in which null sinks count: at 48 kHz they run fast by
# 100 ppm, each by another amount.
SINK = "rate=50000 channels=1 format=s16le"


def missing() -> str:
    """What a real sound server needs and this machine lacks; empty if nothing."""
    lacking = [name for name in PROGRAMS if shutil.which(name) is None]
    if ctypes.util.find_library("portaudio") is None:
        lacking.append("libportaudio2")
    if not list(Path("/usr/lib").glob("**/alsa-lib/libasound_module_pcm_pulse.so")):
        lacking.append("libasound2-plugins")
    return ", ".join(lacking)


def end(process: subprocess.Popen[bytes]) -> None:
    """Kill a program and what it has started."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


class SoundServer:
    """One server. What is played in its only sink, "room", is recorded without any loss.

    With `echo_db` there are two: the default loudspeaker is "speaker", the default microphone
    hears the sink "air", and what the loudspeaker plays comes there later and by that much louder
    (negative: quieter).
    """

    def __init__(self, echo_db: float | None = None) -> None:
        # unix sockets allow 108 bytes: keep the folder's name short
        self.folder = Path(tempfile.mkdtemp(prefix="room", dir="/tmp"))
        run = self.folder / "run"
        self._socket = run / "pulse" / "native"
        self._echo_db = echo_db
        sinks = ("room",) if echo_db is None else ("speaker", "air")
        self._sinks = sinks
        self.air = sinks[-1]  # where people play what they say
        self._server: subprocess.Popen[bytes] | None = None
        self._keepers: list[subprocess.Popen[bytes]] = []
        self._guests: list[subprocess.Popen[bytes]] = []
        self.environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith(("PULSE_", "XDG_RUNTIME"))},
            "XDG_RUNTIME_DIR": str(run),
            "PULSE_RUNTIME_PATH": str(run / "pulse"),
            "PULSE_STATE_PATH": str(self.folder / "state"),
            "PULSE_SERVER": f"unix:{self._socket}",
            "PULSE_CLIENTCONFIG": str(self.folder / "client.conf"),
            "ALSA_CONFIG_PATH": str(self.folder / "asound.conf"),
        }
        for folder in (run, run / "pulse", self.folder / "state"):
            folder.mkdir(mode=0o700)
        (self.folder / "client.conf").write_text("autospawn = no\n")
        (self.folder / "asound.conf").write_text(
            "</usr/share/alsa/alsa.conf>\n"
            "pcm.pulse { type pulse }\nctl.pulse { type pulse }\n"
            "pcm.!default { type pulse }\nctl.!default { type pulse }\n"
        )
        (self.folder / "room.pa").write_text(
            "\n".join(
                [
                    "load-module module-native-protocol-unix auth-anonymous=1 "
                    f"socket={self._socket}",
                    *(f"load-module module-null-sink sink_name={sink} {SINK}" for sink in sinks),
                    f"set-default-sink {sinks[0]}",
                    f"set-default-source {self.air}.monitor",
                    *(
                        [f"load-module module-loopback source=speaker.monitor sink=air {LATE}"]
                        if echo_db is not None
                        else []
                    ),
                    "load-module module-always-sink",  # as on every desktop
                ]
            )
            + "\n"
        )

    def start(self) -> SoundServer:
        """Start the server and wait until its sinks work in small blocks."""
        command = (
            f"pulseaudio -n -F {self.folder}/room.pa --daemonize=no --exit-idle-time=-1 "
            "--disallow-exit=no --use-pid-file=no --realtime=no --high-priority=no "
            f"--log-target=newfile:{self.folder}/pulse.log"
        )
        self._server = self.spawn(command.split())
        self._wait(lambda: self.call("pactl", "info").returncode == 0, "does not answer")
        # without a reader a null sink works in blocks of 2 s and output streams stall
        for sink in self._sinks:
            keeper = "parec --latency-msec=10 --rate=48000 --channels=1 --format=s16le -d"
            self._keepers.append(self.spawn([*keeper.split(), f"{sink}.monitor"]))
        self._wait(self._is_quick, "works in large blocks")
        if self._echo_db is not None:
            (echo,) = re.findall(
                r"^(\d+)", self.call("pactl", "list", "short", "sink-inputs").stdout
            )
            self.call("pactl", "set-sink-input-volume", echo, f"{self._echo_db}dB")
        return self

    def stop(self) -> None:
        """End the server at once, as when a device is pulled out."""
        for process in (*self._keepers, self._server):
            if process is not None:
                end(process)
        self._keepers, self._server = [], None
        self._socket.unlink(missing_ok=True)

    def unplug(self) -> None:
        """Take the devices away; the server goes on, and gives its streams a stand-in."""
        self.call("pactl", "unload-module", "module-null-sink")

    def plug(self) -> None:
        """Bring the only device back."""
        name = f"sink_name={self._sinks[0]}"
        self.call("pactl", "load-module", "module-null-sink", name, *SINK.split())

    def freeze(self, frozen: bool = True) -> None:
        """Let the server hang, or go on."""
        assert self._server is not None
        self._server.send_signal(signal.SIGSTOP if frozen else signal.SIGCONT)

    def close(self) -> None:
        """Stop and remove every trace."""
        for guest in self._guests:
            end(guest)
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)

    def guest(self, *command: str) -> subprocess.Popen[bytes]:
        """Start a program that plays or records here until it ends or the server is closed."""
        self._guests.append(guest := self.spawn([*command]))
        return guest

    def spawn(self, command: list[str]) -> subprocess.Popen[bytes]:
        """Start a program that talks to this server."""
        return subprocess.Popen(
            command,
            env=self.environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    def call(self, *command: str) -> subprocess.CompletedProcess[str]:
        """Run a short program that talks to this server."""
        return subprocess.run(
            command, env=self.environment, capture_output=True, text=True, check=False, timeout=10
        )

    def _is_quick(self) -> bool:
        found = re.findall(r"Latency: (\d+) usec", self.call("pactl", "list", "sinks").stdout)
        return len(found) >= len(self._sinks) and all(int(usec) < 50_000 for usec in found)

    def _wait(self, ready: object, what: str) -> None:
        assert callable(ready)
        ends = time.monotonic() + READY_S
        while not ready():
            if time.monotonic() > ends:
                raise RuntimeError(f"the sound server {what}; see {self.folder}/pulse.log")
            time.sleep(0.05)
