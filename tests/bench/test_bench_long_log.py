"""A log of 100,000 shots: what opening it, aiming and confirming take, in memory and time, beside one of 100 shots."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from bench_table import Table

from fieldtune.store import Store, acts, rows

pytestmark = pytest.mark.bench

USED = """
import json, resource, sys, time
from fieldtune import Session, load_robot
session = Session(load_robot("heron"), sys.argv[1])
session.aim(2.5)
took = []
for result in ("in", "short", "long", "in", "in"):
    begun = time.process_time()
    session.confirm(2.5, 1600, result)
    took.append(time.process_time() - begun)
session.aim(2.5)
print(json.dumps([resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, sorted(took)[2]]))
"""


def log_of(path: Path, count: int) -> Path:
    """A log of so many shots, written at once."""
    rng, store = random.Random(3), Store(path)
    store.add(2.0, 1470.0, "in")
    with store.file.writing() as db:
        for _ in range(count - 1):
            distance = round(rng.uniform(1.6, 4.0), 2)
            setpoint = 10.0 * round((1470 + (distance - 2) * 270) * (1 + 0.03 * rng.gauss(0, 1)) / 10)
            shot = {"uid": rows.new_uid(), "time": "2026-03-01T10:00:00.000+00:00", "distance_m": distance,
                    "setpoint": setpoint, "result": rng.choice(["in", "in", "short", "long"]), "epoch": 1}  # fmt: skip
            rows.add(db, "shots", shot)
            acts.note(db, shot["uid"], "shot", None)
    store.close()
    return path


def used(path: Path) -> tuple[float, float]:
    """Most memory (MB) of a process that opens the log, aims, confirms and aims; CPU seconds of a confirmation."""
    env = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run([sys.executable, "-c", USED, str(path)], capture_output=True, text=True, env=env, check=True)
    memory, seconds = json.loads(done.stdout)
    return float(memory), float(seconds)


def test_memory_and_confirmation_with_long_logs(waiting_table: Table, tmp_path: Path) -> None:
    few, _ = used(log_of(tmp_path / "few.db", 100))
    _, seconds = used(log_of(tmp_path / "some.db", 5_000))
    good = waiting_table.note("confirming at 5,000 shots (CPU)", seconds, 0.15, "s")
    path = log_of(tmp_path / "many.db", 100_000)
    size = path.stat().st_size / 2**20
    many, seconds = used(path)
    waiting_table.tell("confirming at 100,000 shots (CPU)", f"{seconds:.3f} s")
    more = f"{many:.0f} MB, with 100 shots {few:.0f} MB; the log itself {size:.0f} MB"
    good &= waiting_table.note("memory with 100,000 shots, above the log's size by", (many - few) / size, 10, "x", more)
    assert good, waiting_table.text()
