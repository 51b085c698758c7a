"""Learning and ``next`` on logs of every nasty kind: an answer or one line, in time; CPU time is measured."""

from __future__ import annotations

import os
import random
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from fieldtune import load_robot
from fieldtune.errors import FieldtuneError
from fieldtune.learn import learn, next_shot
from fieldtune.records import RESULTS, Shot
from fieldtune.robot.model import Robot
from fieldtune.store import stamp

pytestmark = pytest.mark.torture
SEED = int(os.environ.get("FIELDTUNE_SEED", "20261128"))
NEXT_S, LEARN_S = 0.3, 1.0


def shot(number: int, distance_m: float, setpoint: float, result: str, epoch: int = 1, **more: float | None) -> Shot:
    time = stamp(datetime(2026, 3, 1, tzinfo=UTC) + timedelta(seconds=30 * number))
    return Shot(number + 1, f"u{number}", time, distance_m, setpoint, result, epoch, **more)  # type: ignore[arg-type]


def logs(robot: Robot, chance: random.Random) -> Iterator[tuple[str, list[Shot]]]:
    low, high, spots = robot.setpoint.low, robot.setpoint.high, [spot.distance for spot in robot.spots]
    middle, near = (low + high) / 2, spots[0]

    def anything() -> tuple[float, str]:
        return chance.uniform(low, high), chance.choice(RESULTS)

    yield "no shots", []
    yield "one shot", [shot(0, near, middle, "in")]
    yield (
        "nonsense",
        [
            shot(i, chance.uniform(0.02, 99), *anything(), miss_m=chance.choice([None, chance.uniform(-50, 50)]))
            for i in range(300)
        ],
    )
    yield "all to the left", [shot(i, near, middle, "left") for i in range(200)]
    yield "long from 90 m", [shot(i, 90.0, low, "long") for i in range(50)]
    yield "contradicting each other", [shot(i, near, middle, RESULTS[i % 3]) for i in range(400)]
    yield "misses of 100 m", [shot(i, near, high, "long", miss_m=100.0 * (-1) ** i) for i in range(100)]
    yield "speeds anywhere", [shot(i, near, middle, "in", speed=chance.uniform(1, 1e5)) for i in range(200)]
    yield "200 battery periods", [shot(i, chance.choice(spots), *anything(), epoch=1 + i // 2) for i in range(400)]
    yield "5,000 distances", [shot(i, chance.uniform(0.2, 20), *anything()) for i in range(5_000)]
    yield "100,000 shots", [shot(i, chance.choice(spots), *anything()) for i in range(100_000)]


@pytest.mark.parametrize("name", ["heron", "otter", "crane"])
def test_next_ends_in_time_on_any_log(name: str) -> None:
    robot = load_robot(name)
    print(f"\nseed {SEED}, {name}:")
    slow = []
    learn(robot, [])  # imports
    for what, shots in logs(robot, random.Random(SEED)):
        start = time.process_time()
        posterior = learn(robot, shots, max((one.epoch for one in shots), default=1))
        learned = time.process_time()
        try:
            found = next_shot(robot, posterior, robot.target())
            said = f"{found.distance_m:.2f} m at {found.setpoint:.0f}"
        except FieldtuneError as error:
            said = str(error)
        took, asked = learned - start, time.process_time() - learned
        print(f"  {what:26} learned in {took:.2f} s, next in {asked:.2f} s of CPU: {said}")
        slow += [what] * (asked > NEXT_S or took > LEARN_S)
    assert not slow
