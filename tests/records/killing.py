"""Kills a coach at random moments of writing and sees whether anything acknowledged is lost.

    python -m tests.records.killing FOLDER KILLS [SEED]

A forked child writes sessions as fast as it can and tells over a pipe what was acknowledged to
it. Prints one line and ends with 0, or says what was lost and ends with 1.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
import time
from datetime import datetime
from pathlib import Path

from coach.practice.kept import Hold, Pulse
from coach.records.store import DiskStore
from tests.records.sessions import about, hold, pulse

STARTED = datetime.fromisoformat("2026-11-25T18:00:00+01:00")


def write_until_killed(folder: Path, turn: int, pipe: int, rng: random.Random) -> None:
    with DiskStore(folder, tell=lambda _: None) as store:
        for number in range(10_000):
            name = f"s{turn:04}-{number:04}"
            store.begin(name, STARTED, about("Mira Invented"))
            for n in range(rng.randint(1, 4)):
                store.said(n, n + 1.0, "line", "something was said " * rng.randint(1, 40))
                beats = rng.randint(12, 25)
                held = hold(rng.uniform(30, 200), number=n + 1)
                for kept in (held, pulse(beats, place=f"before {n}")):
                    store.keep(kept)
                    os.write(pipe, f"{name} {kept.key} {fact(kept)}\n".encode())
            store.finish(300.0, 0, "done")
            os.write(pipe, f"{name} finished done\n".encode())


def fact(kept: Hold | Pulse) -> str:
    value = kept.duration_s if isinstance(kept, Hold) else kept.beats
    return f"{value:.6f}" if isinstance(value, float) else str(value)


def kept_facts(folder: Path, tell: list[str]) -> set[str]:
    """Everything the store has, in the words of `write_until_killed`."""
    found = set()
    with DiskStore(folder, tell=tell.append) as store:
        for made in store.library.documents():
            found.add(f"{made['id']} finished {made['outcome']['reason']}")
            for held in made["holds"]:
                found.add(f"{made['id']} {held['key']} {held['duration_s']:.6f}")
            for count in made["pulses"]:
                found.add(f"{made['id']} {count['key']} {count['beats']}")
        rows = len(store.library.summaries())
        documents = sum(fact.split()[1] == "finished" for fact in found)
        if rows != documents:
            tell.append(f"damaged: {rows} summaries of {documents} sessions")
    return found


def killed_once(folder: Path, turn: int, rng: random.Random) -> set[str]:
    """What was acknowledged to a child before it was killed."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            write_until_killed(folder, turn, writing, rng)
        finally:
            os._exit(3)
    os.close(writing)
    if rng.random() < 0.6:  # else it dies while opening and taking in, too
        select.select([reading], [], [], 10.0)
    time.sleep(rng.uniform(0.0, 0.25))
    os.kill(child, signal.SIGKILL)
    with os.fdopen(reading) as pipe:
        acknowledged = {line.strip() for line in pipe if line.endswith("\n")}
    status = os.waitpid(child, 0)[1]
    if not os.WIFSIGNALED(status):
        raise SystemExit("the writing process ended by itself")
    return acknowledged


def main() -> int:
    folder, kills = Path(sys.argv[1]), int(sys.argv[2])
    rng = random.Random(int(sys.argv[3]) if len(sys.argv) > 3 else None)
    acknowledged: set[str] = set()
    told: list[str] = []
    for turn in range(kills):
        acknowledged |= killed_once(folder, turn, random.Random(rng.random()))
        if rng.random() < 0.3:  # otherwise the next child has to take in what this one left
            lost = acknowledged - kept_facts(folder, told)
            if lost:
                print(f"lost after {turn + 1} kills: {sorted(lost)[:5]}")
                return 1
    lost = acknowledged - kept_facts(folder, told)
    damaged = [line for line in told if "damaged" in line]
    interrupted = sum("was interrupted" in line for line in told)
    print(
        f"{kills} kills, {len(acknowledged)} values acknowledged, {len(lost)} lost, "
        f"{len(damaged)} files damaged, {interrupted} interrupted sessions taken in at the end"
    )
    return 1 if lost or damaged else 0


if __name__ == "__main__":
    sys.exit(main())
