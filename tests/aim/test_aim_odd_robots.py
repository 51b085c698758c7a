"""Odd but legal robots: what the program answers for a profile, against the same robot thrown by brute force."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import brute_force as brute
import numpy as np
import pytest
import reference_monte_carlo as reference
from monte_carlo_robots import plain
from odd_robots import Odd, odd_robot
from reference_monte_carlo import Shots

from fieldtune.aim.draws import Belief
from fieldtune.aim.reach import reach
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.robot.model import Robot
from fieldtune.session import Session

CHANCE = 0.05
"""Hit probability from which on a robot is worth comparing: below, its needs may be rough and nobody shoots."""


@dataclass
class Compared:
    """How far program and brute force differ: needed mean path (m at the target), exit speed (relative), entry (deg),
    apex (m), time (s), hit probability; ``better``: what a setpoint nearby scores more than the recommended one."""

    distance: float
    chance: float
    path: float
    speed: float
    entry: float = 0.0
    apex: float = 0.0
    time: float = 0.0
    hits: float = 0.0
    better: float = 0.0


def compare(odd: Odd, robot: Robot, throws: int) -> Compared | None:
    """None where the program says that no distance works, or that it scores hardly ever."""
    session, target = Session(robot), robot.targets[0]
    belief, need = session.belief, required_speed_for(robot, target)
    found = reach(robot, need, belief)
    if found.nearest is None or found.farthest is None:
        return None
    nearest = max(found.nearest, max(odd.opening) / 2 + odd.extent)  # nearer, it stands in the target
    distance = min(nearest + odd.place * (found.farthest - nearest), 30.0)
    if found.farthest < nearest:
        return None
    aim = session.aim(distance)
    if aim.hit_probability is None or aim.hit_probability < CHANCE:
        return None
    best = belief.best
    true, angle = distance + float(best.distance_bias[0]), odd.angle + float(best.angle_error[0])
    factor = math.exp(float(best.log_drag[0]))
    speed = math.exp(float(need.log_speed(true, 0.0, best.angle_error, best.log_drag).value[0]))
    result = Compared(distance, aim.hit_probability, 0.0, 0.0)
    mean = float(belief.basis.at(aim.setpoint.value)[0] @ best.gain[0])
    result.speed = math.log(aim.exit_speed_mps / brute.exit_speed(odd, aim.setpoint.value)) - mean
    if target.resistance == "friction":
        ends = brute.rest_distance(odd, np.array([speed]), np.array([angle]), np.array([factor]))
        result.path = float(ends[0]) - true
    else:
        height, slope, _, _ = brute.crossing(odd, speed, angle, true, factor)
        high = height - (odd.target_height - odd.height)
        result.path = high / -slope if target.kind == "basket" else high
        at = true
        if target.kind == "basket":  # figures are of the path of that speed, where it comes down itself
            for _ in range(6):
                height, slope, _, _ = brute.crossing(odd, aim.exit_speed_mps, angle, at, factor)
                at += (odd.target_height - odd.height - height) / slope
        _, slope, time, apex = brute.crossing(odd, aim.exit_speed_mps, angle, at, factor)
        result.entry = aim.entry_angle_deg + math.degrees(math.atan(slope))
        result.apex, result.time = aim.apex_m - apex - odd.height, aim.time_s - time
    chances = [
        counted(odd, robot, belief, distance, aim.setpoint.value * by, throws) for by in (1.0, 0.96, 0.985, 1.015, 1.04)
    ]
    result.hits, result.better = aim.hit_probability - chances[0], max(chances) - chances[0]
    return result


def counted(odd: Odd, robot: Robot, belief: Belief, distance: float, setpoint: float, throws: int) -> float:
    """Share of throws that score, of robots and scatter as believed before the first shot."""
    if not odd.low <= setpoint <= odd.high:
        return 0.0
    rng, unsure = np.random.default_rng(1), belief.draws
    pick = rng.choice(len(belief.weights), throws, p=belief.weights)
    gain = (unsure.gain @ belief.basis.at(setpoint)[0])[pick]
    speed = brute.exit_speed(odd, setpoint) * np.exp(gain + unsure.speed_scatter[pick] * rng.standard_normal(throws))
    angle = odd.angle + unsure.angle_error[pick] + unsure.angle_scatter[pick] * rng.standard_normal(throws)
    azimuth = unsure.side_bias[pick] + unsure.side_scatter[pick] * rng.standard_normal(throws)
    true = distance + unsure.distance_bias[pick]
    numbers, target = plain(robot)
    return float(reference.scores(numbers, target, Shots(speed, angle, azimuth, unsure.log_drag[pick], true)).mean())


def check(odd: Odd, found: Compared, throws: int) -> None:
    """Tolerances: 5 mm or half a per cent of the way for the mean path; 0.02 of probability, three standard errors."""
    assert abs(found.path) < max(5e-3, 5e-3 * found.distance), odd
    assert abs(found.speed) < 1e-9, odd
    assert abs(found.entry) < 0.02, odd
    assert abs(found.apex) < 3e-3, odd
    assert abs(found.time) < 1e-3, odd
    noise = 3 * math.sqrt(found.chance * (1 - found.chance) / throws)
    assert abs(found.hits) < 0.02 + noise, odd
    assert found.better < 0.03 + noise, odd


# Each kind of launcher, target and shape at least once, near and far, up and down, with and without spin.
@pytest.mark.parametrize("seed", [31, 35, 94, 185, 125, 127, 129, 137, 138])
def test_a_few_odd_robots(seed: int, tmp_path: Path) -> None:
    odd = odd_robot(seed)
    found = compare(odd, odd.robot(tmp_path), 1500)
    assert found is not None
    check(odd, found, 1500)


@pytest.mark.slow
def test_many_odd_robots(tmp_path: Path) -> None:
    compared: list[Compared] = []
    for seed in range(2000, 2160):
        odd = odd_robot(seed)
        found = compare(odd, odd.robot(tmp_path), 4000)
        if found is not None:
            compared.append(found)
            check(odd, found, 4000)
    assert len(compared) > 70
    worst = {name: max(abs(getattr(c, name)) for c in compared) for name in Compared.__dataclass_fields__}
    print(f"\nworst of {len(compared)} robots: " + ", ".join(f"{name} {value:.2g}" for name, value in worst.items()))


def test_the_odd_robots_are_of_all_kinds() -> None:
    """What the seeds above draw from: every launcher with every target and shape, cold and hot, high up."""
    robots = [odd_robot(seed) for seed in range(400)]
    assert len({(odd.kind, odd.target, odd.shape) for odd in robots}) == 36
    assert min(odd.pressure for odd in robots) < 70_200  # 3,000 m up (U.S. Standard Atmosphere 1976)
    assert min(odd.temperature for odd in robots) < 255
    assert max(odd.temperature for odd in robots) > 317
    assert min(brute.spin_share(odd) for odd in robots) < -0.4
    assert max(brute.spin_share(odd) for odd in robots) == 1.0
