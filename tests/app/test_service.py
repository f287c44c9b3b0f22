"""What a service manager is told, over a real socket of its kind."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from configparser import ConfigParser
from pathlib import Path

import pytest

from coach.app.service import Service

ROOT = Path(__file__).parents[2]


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.bind(str(tmp_path / "notify"))
        channel.settimeout(1.0)
        yield channel


def told(manager: socket.socket) -> list[str]:
    messages = []
    manager.setblocking(False)
    while True:
        try:
            messages.append(manager.recv(100).decode())
        except BlockingIOError:
            return messages


def test_readiness_life_and_end_are_told(manager: socket.socket) -> None:
    service = Service({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "30000000"})
    service.ready()
    for _ in range(100):
        service.beat()
    service.stopping()
    assert told(manager) == ["READY=1", "WATCHDOG=1", "STOPPING=1"]


def test_signs_of_life_are_not_sent_where_nobody_asks_for_them(manager: socket.socket) -> None:
    service = Service({"NOTIFY_SOCKET": manager.getsockname()})
    service.beat()
    assert told(manager) == []


def test_an_abstract_socket_is_understood() -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.bind("\0coach-test-of-notify")
        Service({"NOTIFY_SOCKET": "@coach-test-of-notify"}).ready()
        assert channel.recv(100) == b"READY=1"


@pytest.mark.parametrize("environment", [{}, {"NOTIFY_SOCKET": "/nowhere/at/all"}])
def test_without_a_manager_nothing_happens(environment: dict[str, str]) -> None:
    service = Service({**environment, "WATCHDOG_USEC": "1000"})
    service.ready()
    service.beat()
    service.stopping()


def test_the_shipped_unit_starts_the_command_and_asks_for_what_it_is_told() -> None:
    unit = ConfigParser(interpolation=None)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read(ROOT / "config" / "systemd" / "coach.service")
    service = unit["Service"]
    assert service["Type"] == "notify"
    assert service["ExecStart"].endswith("/coach listen")
    assert int(service["WatchdogSec"]) >= 10
    assert service["RestartPreventExitStatus"] == "2"


def test_a_manager_that_does_not_read_holds_nothing_up(manager: socket.socket) -> None:
    service = Service({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "2"})
    for _ in range(2000):  # more than any queue takes; without care the 12th would wait for ever
        service.beat()
    assert 1 <= len(told(manager)) < 2000
