"""What saving costs with ten years of history, and what a review over them takes.

    python -m benchmarks.records [--sessions 10000] [--json FILE]

One run on one machine. Beside it: the same with one TinyDB file, as one would write it in an
afternoon.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from typing import Any
from unittest import mock

from tinydb import TinyDB

from coach.practice.kept import Kept
from coach.practice.progress import newest, trend
from coach.records.document import Document
from coach.records.library import Library
from coach.records.people import bests
from coach.records.series import hold_points, pulse_points
from coach.records.store import DiskStore
from tests.records.sessions import about, typical

YEARS = 10
SAMPLE = 100


def session_length(store: DiskStore, name: str, started: datetime, kept: list[Kept]) -> Document:
    store.begin(name, started, about("Mira Invented"))
    for number in range(60):  # about as many lines as a first lesson says
        store.said(number * 5.0, number * 5.0 + 3.0, f"line_{number}", "A line that was said here.")
    for value in kept:
        store.keep(value)
    return store.finish(300.0, 0, "done")


def timed(action: Callable[[], object]) -> float:
    began = time.perf_counter()
    action()
    return time.perf_counter() - began


def fill(store: DiskStore, sessions: int, rng: random.Random) -> None:
    """Ten years of sessions, through the store, without waiting for the disk."""
    first = datetime(2016, 11, 25, 7, tzinfo=UTC)
    step = timedelta(days=YEARS * 365.25) / sessions
    with mock.patch("os.fsync"):
        for number in range(sessions):
            session_length(store, f"s{number:06}", first + number * step, typical(rng))


def saved(store: DiskStore, number: int, rng: random.Random) -> float:
    """Seconds of a whole session's writing, synced as it is in earnest; three sessions a day."""
    started = datetime(2026, 11, 26, 7, tzinfo=UTC) + timedelta(hours=8 * number)
    kept = typical(rng)
    return timed(lambda: session_length(store, f"late-{number:06}", started, kept))


def review(library: Library) -> tuple[float, float]:
    """Wall and processor seconds: ten years read, two trends and the bests reckoned."""
    who = "Mira Invented"
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    rows = library.summaries()
    for points in (hold_points(rows, who, "main"), pulse_points(rows, who, "before")):
        trend(points)
        newest(points)
    bests(rows, who)
    return time.perf_counter() - wall_s, time.process_time() - cpu_s


def run(sessions: int) -> dict[str, Any]:
    """An empty store and a full one, saved into by turns."""
    rng = random.Random(1)
    with tempfile.TemporaryDirectory() as folder:
        full = DiskStore(Path(folder) / "full")
        fill(full, sessions, rng)
        empty = DiskStore(Path(folder) / "empty")
        pairs = [(saved(empty, n, rng), saved(full, n, rng)) for n in range(SAMPLE)]
        early, late = (median(times) for times in zip(*pairs, strict=True))
        reviews = [review(full.library) for _ in range(7)]
        review_s, review_cpu_s = (median(times) for times in zip(*reviews, strict=True))
        size = sum(path.stat().st_size for path in full.library.folder.rglob("*.*"))
        full.close()
        empty.close()
    return {
        "sessions": sessions,
        "save_empty_ms": 1000 * early,
        "save_ten_years_ms": 1000 * late,
        "save_ratio": late / early,
        "review_s": review_s,
        "review_cpu_s": review_cpu_s,
        "megabytes": size / 1e6,
    }


def run_plain(sessions: int, saves: int = 5) -> dict[str, Any]:
    """One TinyDB file with whole documents, written in place and never synced."""
    rng = random.Random(1)
    with tempfile.TemporaryDirectory() as folder:
        with DiskStore(Path(folder) / "records") as store:
            started = datetime(2016, 11, 25, tzinfo=UTC)
            made = session_length(store, "s", started, typical(rng))
        tiny = TinyDB(Path(folder) / "plain.json")
        empty_s = median(timed(lambda: tiny.insert(made)) for _ in range(saves))
        tiny.insert_multiple(made for _ in range(sessions))
        full_s = median(timed(lambda: tiny.insert(made)) for _ in range(saves))
        read_s = timed(tiny.all)
        tiny.close()
    return {
        "plain_save_empty_ms": 1000 * empty_s,
        "plain_save_ten_years_ms": 1000 * full_s,
        "plain_save_ratio": full_s / empty_s,
        "plain_review_read_s": read_s,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sessions", type=int, default=10_000)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    figures = {**run(options.sessions), **run_plain(options.sessions)}
    for name, value in figures.items():
        print(f"{name:28} {value:12.3f}" if isinstance(value, float) else f"{name:28} {value:12}")
    if options.json:
        options.json.write_text(json.dumps(figures, indent=1) + "\n")


if __name__ == "__main__":
    main()
