"""Turn, pose and robots in motion: against shots thrown by the thousand as the field sees them, and plain geometry."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import reference_monte_carlo as reference
from monte_carlo_robots import believed_of, plain
from thorough import thorough

from fieldtune import InputError, Pose, ProfileError, Session, load_robot
from fieldtune.aim.motion import Motion, recommend_moving
from fieldtune.aim.recommend import recommend
from fieldtune.link.line import Line
from fieldtune.robot.model import Robot

POINTS = 0.02


def known(name: str) -> tuple[Robot, Any]:
    """A demonstration robot and a belief narrow enough for its scatter to count."""
    robot = load_robot(name)
    belief = Session(robot).belief
    draws = belief.draws
    return robot, replace(belief, draws=replace(draws, gain=0.25 * draws.gain, log_drag=0.4 * draws.log_drag))


def on_the_field(shots: reference.Shots, turn: float, motion: Motion) -> reference.Shots:
    """Launcher's and robot's velocity added up, part by part: towards the target, up, right."""
    level, azimuth = shots.speed * np.cos(shots.elevation), shots.azimuth + turn
    ahead, right = level * np.cos(azimuth) + motion.forward, level * np.sin(azimuth) + motion.right
    up = shots.speed * np.sin(shots.elevation)
    whole = np.sqrt(ahead**2 + right**2 + up**2)
    return replace(shots, speed=whole, elevation=np.arcsin(up / whole), azimuth=np.arctan2(right, ahead))


def thrown(robot: Robot, belief: Any, distance: float, setpoint: float, turn: float, motion: Motion) -> float:
    """Hit chance of the reference."""
    of, target = plain(replace(robot, targets=robot.targets[:1]))
    shots = reference.drawn_shots(of, target, distance, setpoint, believed_of(belief, setpoint), power=10)
    return float(reference.scores(of, target, on_the_field(shots, turn, motion)).mean())


@pytest.mark.parametrize(
    ("name", "distance", "forward", "right"),
    [
        ("heron", 2.6, -0.6, 0.4),
        ("crane", 2.0, 0.6, 0.3),
        ("otter", 1.8, 0.3, 0.2),
        *thorough(("heron", 2.0, 0.5, 0.0), ("heron", 3.2, 0.3, -0.8), ("crane", 2.6, -0.4, -0.5)),
    ],
)
def test_a_robot_in_motion(name: str, distance: float, forward: float, right: float):
    robot, belief = known(name)
    motion = Motion(forward, right)
    aim = recommend_moving(robot, robot.targets[0], belief, distance, motion)
    assert aim.setpoint.value is not None
    assert aim.turn_deg is not None
    turn = math.radians(aim.turn_deg)
    chance = thrown(robot, belief, distance, aim.setpoint.value, turn, motion)
    assert aim.hit_probability == pytest.approx(chance, abs=POINTS)
    standing = recommend(robot, robot.targets[0], belief, distance)
    assert standing.setpoint.value is not None
    as_before = thrown(robot, belief, distance, standing.setpoint.value, 0.0, motion)
    assert chance > as_before + 0.1  # who doesn't lead misses
    others = [
        thrown(robot, belief, distance, aim.setpoint.value * factor, turn + math.radians(aside), motion)
        for factor, aside in ((0.97, 0), (0.985, 0), (1.015, 0), (1.03, 0), (1, -1.5), (1, 1.5))
    ]
    assert max(others) < chance + POINTS  # nothing near it is better


def test_standing_still_is_the_same_to_the_digit_and_creeping_nearly_so():
    session = Session(load_robot("heron"))
    assert session.aim(2.0, moving_mps=0.0, sideways_mps=0.0) == session.aim(2.0)
    creeping, still = session.aim(2.0, moving_mps=1e-5), session.aim(2.0)
    assert creeping.setpoint.value == still.setpoint.value
    assert creeping.hit_probability == pytest.approx(still.hit_probability, abs=0.005)
    assert creeping.turn_deg == 0.0
    assert still.turn_deg is None


def test_motions_that_nothing_can_lead():
    session = Session(load_robot("heron"))
    for moving, sideways, words in ((0, 4.0, "no turn can lead"), (-5, 0, "backwards"), (80, 0, "at most 10 m/s")):
        with pytest.raises(InputError, match=words):
            session.aim(2.0, moving_mps=moving, sideways_mps=sideways)


@pytest.fixture
def placed(tmp_path: Path) -> Callable[..., Robot]:
    """Heron with its basket at a place on the field, and perhaps a turret."""

    def make(position: str = '["3.2 m", "0 m"]', turret: str = "") -> Robot:
        path = load_robot("heron").path
        assert path is not None
        text = path.read_text().replace('clearance = "0 mm"', f'clearance = "0 mm"\nposition = {position}', 1)
        (tmp_path / "heron.toml").write_text(text + turret)
        return load_robot(str(tmp_path / "heron.toml"))

    return make


def test_a_pose_becomes_distance_and_turn(placed: Callable[..., Robot]):
    """A triangle with sides 1.8, 2.4 and 3.0 m; the target lies 36.87 deg to the right of the x axis."""
    session = Session(placed())
    aim = session.aim(pose=Pose(0.8, 1.8, 10.0))
    assert aim.distance_m == pytest.approx(3.0)
    assert aim.turn_deg == pytest.approx(10.0 + math.degrees(math.atan2(1.8, 2.4)))
    assert aim.setpoint.value == session.aim(3.0).setpoint.value
    assert session.aim(pose=Pose(0.8, -1.8, 0.0)).turn_deg == pytest.approx(-math.degrees(math.atan2(1.8, 2.4)))
    assert abs(session.aim(pose=Pose(1.2, 0.0, 540.0)).turn_deg or 0) == pytest.approx(180.0)
    assert session.aim(pose=Pose(1.2, 0.0)).turn_deg is None
    assert session.aim(pose=Pose(1.2, 0.0)).distance_m == pytest.approx(2.0)


def test_poses_that_are_none(placed: Callable[..., Robot]):
    session = Session(placed())
    for pose, words in ((Pose(3.2, 0.0, 0.0), "stands in the target"), (Pose(math.nan, 0, 0), "plain numbers"),
                        (Pose(150.0, 0.0, 0.0), "at most 100 m")):  # fmt: skip
        with pytest.raises(InputError, match=words):
            session.aim(pose=pose)
    with pytest.raises(InputError, match=r"give \[target\] position"):
        Session(load_robot("heron")).aim(pose=Pose(1.0, 0.0))
    with pytest.raises(InputError, match="from where"):
        session.aim()


def test_a_turret_turns_so_far_and_no_further(placed: Callable[..., Robot]):
    session = Session(placed(turret='\n[turret]\nlow = "-20 deg"\nhigh = "30 deg"\n'))
    within, beyond = session.aim(pose=Pose(1.2, 0.0, 25.0)), session.aim(pose=Pose(1.2, 0.0, 50.0))
    assert not any("turret" in words for words in within.cautions)
    assert any("first turn 20.0 deg to the right" in words for words in beyond.cautions)


def test_positions_and_turrets_that_are_none(placed: Callable[..., Robot]):
    for position in ('"3 m"', '["3 m"]', '["3 m", "2 kg"]', "[3, 2]"):
        with pytest.raises(ProfileError, match="position"):
            placed(position)
    with pytest.raises(ProfileError, match="turret"):
        placed(turret='\n[turret]\nlow = "20 deg"\nhigh = "-20 deg"\n')


def test_a_side_bias_that_costs_becomes_a_turn():
    """Shots that fall to the right of a known direction: turned by what is advised, the reference's hit again."""
    session = Session(load_robot("heron"))
    assert session.aim(2.6).turn_deg is None
    for distance, setpoint in ((1.5, 1330), (2.0, 1460), (2.6, 1610), (3.2, 1760)) * 2:
        session.confirm(distance, setpoint, miss_m=0.0, side_m=0.05 * distance)
    aim = session.aim(2.6)
    assert aim.turn_deg == pytest.approx(-math.degrees(0.05), rel=0.2)
    assert aim.setpoint.value is not None
    assert aim.hit_probability is not None
    turned = thrown(session.robot, session.belief, 2.6, aim.setpoint.value, math.radians(aim.turn_deg), Motion())
    words = next(words for words in aim.cautions if "points of hit chance" in words)
    assert "to the left: shots go to the right" in words
    gained = float(words.split("costs ")[1].split(" points")[0]) / 100
    assert gained == pytest.approx(turned - aim.hit_probability, abs=POINTS)
    assert gained > 0.02


class Told:
    """A line that said these lines, read by the real decoder."""

    def __init__(self, robot: Robot, fields: str) -> None:
        self.line = Line(robot)
        for k in range(60):
            self.line.feed(f"t_ms={20 * k},wheel_rpm=1400,{fields}\n".encode(), 0.02 * k)

    def snapshot(self) -> Any:
        return self.line.live("live", "told", "test", 1.18)


def test_the_line_gives_pose_and_motion_where_nothing_else_does(placed: Callable[..., Robot]):
    """The target lies along -y here: to move along -y is towards it, along -x to its right."""
    robot = placed('["0.8 m", "-1.2 m"]')
    session = Session(robot)
    session.line = Told(robot, "x_mm=800,y_mm=1400,heading_deg=-90,vx_mmps=-300,vy_mmps=-500")
    by_line = session.aim()
    by_hand = session.aim(pose=Pose(0.8, 1.4, -90.0), moving_mps=0.5, sideways_mps=0.3)
    assert by_line.distance_m == pytest.approx(2.6)
    assert by_line.setpoint.value == by_hand.setpoint.value
    assert by_line.turn_deg == pytest.approx(by_hand.turn_deg)
    assert by_line.turn_deg < -1  # it drifts right, so it turns left
    session.line = Told(robot, "distance_mm=2300")
    assert session.aim().distance_m == pytest.approx(2.3)
    assert session.aim().turn_deg is None
