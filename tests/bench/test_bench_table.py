"""Tables with all uncertainty averaged against the obvious mean path a row, in CPU time within one run.

The obvious way solves each row by ``brentq`` over the setpoint, as it comes, around ``solve_ivp`` with an event at the
target: the mean path only.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from bench_table import Table
from scipy.optimize import brentq
from test_bench_aim import flown_miss, slid_miss

from fieldtune import Session, load_robot
from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.recommend import recommend
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.setpoint_search import best_setpoint
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed
from fieldtune.robot.model import Robot

pytestmark = pytest.mark.bench


def cpu(call: Callable[[], object]) -> float:
    """Seconds of the processor."""
    begun = time.process_time()
    call()
    return time.process_time() - begun


def obvious_setpoint(robot: Robot, distance: float) -> float:
    miss = slid_miss if robot.targets[0].resistance == "friction" else flown_miss

    def at(setpoint: float) -> float:
        return miss(robot, float(np.exp(model_log_speed(robot, drive_quantity(robot, setpoint)))), distance)

    return float(brentq(at, robot.setpoint.low, robot.setpoint.high))


def shot_at(session: Session, distances: np.ndarray) -> None:
    """Eight shots around what is recommended, so that there is something to believe."""
    for number, distance in enumerate(distances):
        value = session.aim(float(distance)).setpoint.value
        assert value is not None
        session.confirm(float(distance), value * (1 + 0.02 * (number % 3 - 1)), ("in", "short", "long")[number % 3])


@pytest.mark.parametrize("name", ["heron", "otter", "crane"])
def test_tables_in_the_process(waiting_table: Table, name: str) -> None:
    robot = load_robot(name)
    near, far = min(spot.distance for spot in robot.spots), max(spot.distance for spot in robot.spots)
    good = True
    with Session(robot) as session:
        shot_at(session, np.linspace(near, far, 8))
        belief, target = session.belief, robot.target()
        need = required_speed_for(robot, target)
        asked = {count: np.linspace(near, far, count).tolist() for count in (64, 401)}
        rows = {count: session.table(at, rounded=False) for count, at in asked.items()}
        taken: dict[object, list[float]] = {"obvious": [], 64: [], 401: [], "one": []}
        for turn in range(5):  # by turns
            taken["obvious"].append(cpu(lambda d=asked[64][5 + 12 * turn]: obvious_setpoint(robot, d)))
            taken["one"].append(cpu(lambda: [recommend(robot, target, belief, d) for d in asked[64][3:60:19]]) / 3)
            for count in (64, 401):
                taken[count].append(cpu(lambda count=count: session.table(asked[count])))
        middle = {what: statistics.median(times) for what, times in taken.items()}
        for count, goal in ((64, 60), (401, 200)):
            ratio = middle["obvious"] * count / middle[count]
            more = f"{1000 * middle[count]:.0f} ms, obvious row {1000 * middle['obvious']:.1f} ms"
            what = f"table of {count} rows, {name}, against the obvious mean path"
            waiting_table.note(what, ratio, goal, "x", more, least=True)
            good &= ratio >= 0.35 * goal
            setpoint_off = chance_off = 0.0
            for row in rows[count][:: max(1, count // 60)]:
                full = best_setpoint(
                    HitChanceCurve.at(robot, need, belief, row.distance_m, None), target.slowest_wins, rounded=False
                )
                assert full is not None
                assert row.setpoint is not None
                assert row.hit_probability is not None
                setpoint_off = max(setpoint_off, abs(row.setpoint - full.setpoint) / robot.setpoint.step)
                chance_off = max(chance_off, abs(row.hit_probability - full.probability))
            good &= waiting_table.note(f"  its setpoints off every row in full, {name}", setpoint_off, 0.333, "steps")
            good &= waiting_table.note(f"  its hit chances off every row in full, {name}", chance_off, 0.002, "")
        waiting_table.note(f"one recommendation, {name} (CPU)", 1000 * middle["one"], 3.0, "ms")
    assert good, waiting_table.text()


def test_table_through_the_command(waiting_table: Table, tmp_path: Path) -> None:
    robot = load_robot("heron")
    command = [
        sys.executable,
        "-m",
        "fieldtune",
        "table",
        "heron",
        "--from",
        "1.5 m",
        "--to",
        "3.5 m",
        "--step",
        "5 mm",
    ]
    env = {**os.environ, "FIELDTUNE_PROFILES": str(tmp_path), "OPENBLAS_NUM_THREADS": "1"}
    obvious, ours = [], []
    for turn in range(5):
        obvious.append(cpu(lambda at=1.6 + 0.4 * turn: obvious_setpoint(robot, at)))
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(command, env=env, capture_output=True, text=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        ours.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        assert done.stdout.count("\n") == 403
    ratio = 401 * statistics.median(obvious) / statistics.median(ours)
    more = f"{statistics.median(ours):.2f} s"
    good = waiting_table.note("table of 401 rows through the command", ratio, 10, "x", more, least=True)
    assert good, waiting_table.text()
