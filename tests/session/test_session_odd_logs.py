"""Logs that no launcher would make: shots from where nothing scores, contradictions, slips of the finger."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fieldtune import Session, load_robot
from fieldtune.errors import InputError

PROFILES = Path(__file__).parents[2] / "profiles"


@pytest.mark.parametrize(
    ("name", "distance", "setpoint", "result", "miss"),
    [
        ("crane", 0.36, 412.0, "short", None),
        ("crane", 0.56, 226.0, "short", -20.7),
        ("heron", 0.41, 1359.0, "left", 18.4),
        ("heron", 0.37, 2593.0, "long", 0.64),
        ("heron", 0.07, 2020.0, "in", 1.2),
        ("heron", 95.0, 700.0, "in", None),
        ("otter", 0.02, 52.0, "short", None),
        ("otter", 99.0, 5.0, "in", 0.0),
    ],
)
def test_one_odd_shot_never_stops_the_answers(
    name: str, distance: float, setpoint: float, result: str, miss: float | None
) -> None:
    robot = load_robot(PROFILES / f"{name}.toml")
    session = Session(robot)
    before = session.aim(2.0).setpoint.value
    session.confirm(distance, setpoint, result, miss)
    after = session.aim(2.0).setpoint.value
    assert before is not None
    assert after == pytest.approx(before, rel=0.15)
    assert session.learned().shots_used >= 0


@pytest.mark.parametrize("seed", [39, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(12))])
def test_a_log_full_of_contradictions_still_answers(seed: int) -> None:
    rng = np.random.default_rng(seed)
    robot = load_robot(PROFILES / f"{['heron', 'otter', 'crane'][seed % 3]}.toml")
    session = Session(robot)
    for _ in range(120):
        _odd_shot(session, rng)
    middle = (robot.setpoint.low + robot.setpoint.high) / 2
    aim = session.aim(2.0)
    assert aim.setpoint.value is None or robot.setpoint.low <= aim.setpoint.value <= robot.setpoint.high
    assert 0 <= session.hit_chance(2.0, middle) <= 1
    assert session.learned().shots_used == aim.shots_used
    session.stand(middle)
    session.next()


def _odd_shot(session: Session, rng: np.random.Generator) -> None:
    """A shot whose entries have nothing to do with each other; what the session refuses is left out."""
    low, high = session.robot.setpoint.low, session.robot.setpoint.high
    if rng.random() < 0.05:
        session.swap()
    targets = [target.name for target in session.robot.targets]
    results = ("in", "short", "long", "left", "right", None)
    setpoint = float(rng.uniform(low, high))
    try:
        session.confirm(
            distance_m=float(
                rng.choice([rng.uniform(0.05, 6), rng.uniform(1, 3), 2.0, 50.0], p=[0.3, 0.5, 0.18, 0.02])
            ),
            setpoint=setpoint,
            result=results[int(rng.integers(len(results)))],
            miss_m=float(rng.normal(0, rng.choice([0.01, 0.1, 1, 20]))) if rng.random() < 0.5 else None,
            side_m=float(rng.normal(0, 0.3)) if rng.random() < 0.3 else None,
            speed=setpoint * float(rng.uniform(0.7, 1.3)) if rng.random() < 0.3 else None,
            battery_v=float(rng.uniform(6, 15)) if rng.random() < 0.4 else None,
            target=targets[int(rng.integers(len(targets)))],
        )
    except InputError:
        return
