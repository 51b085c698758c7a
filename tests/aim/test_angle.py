"""The hit chance over the exit angle, against shots thrown by the thousand and against a result in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import reference_monte_carlo as reference
from monte_carlo_robots import believed_of, plain
from robots import PLAIN_BALL, make_robot
from thorough import thorough

from fieldtune import InputError, Session, load_robot
from fieldtune.aim.angle import angle_sweep
from fieldtune.aim.places import Place
from fieldtune.robot.model import Uncertainty, Window

POINTS = 0.02


@pytest.mark.parametrize(("name", "angles"), [("crane", (38.0, 44.0, 50.0)), *thorough(("heron", (48.0, 56.0, 64.0)))])
def test_hit_chance_at_each_angle(name: str, angles: tuple[float, ...]):
    """The reference looks for its own best setpoint at each angle and spot."""
    robot = load_robot(name)
    robot = replace(robot, targets=robot.targets[:1])
    belief = Session(robot).belief
    belief = replace(belief, draws=replace(belief.draws, gain=0.3 * belief.draws.gain))
    spots = [Place(s.distance, s.name) for s in robot.spots[:3:2]]
    found = angle_sweep(robot, robot.targets[0], belief, spots, angles[0], angles[-1], angles[1] - angles[0])
    assert [row.exit_angle_deg for row in found.angles] == list(angles)
    for row in found.angles:
        tilted = replace(robot, launcher=replace(robot.launcher, exit_angle=math.radians(row.exit_angle_deg)))
        of, target = plain(tilted)
        for spot in row.spots:
            assert spot.setpoint is not None
            setpoints = spot.setpoint * np.linspace(0.97, 1.03, 7)
            chances = [
                reference.hit_chance(of, target, spot.distance_m, s, believed_of(belief, s), power=9)[0]
                for s in setpoints
            ]
            top = np.polynomial.Polynomial.fit(np.arange(7), chances, 4)(np.linspace(0, 6, 61)).max()
            assert spot.hit_probability == pytest.approx(top, abs=POINTS), row
        assert row.mean == pytest.approx(np.mean([spot.hit_probability for spot in row.spots]))
        assert row.worst == min(spot.hit_probability for spot in row.spots)
    assert found.best == max(found.angles, key=lambda row: row.mean).exit_angle_deg


@pytest.mark.slow
def test_the_best_angle_is_the_references():
    """Seven angles, each with the best of five setpoints at two spots, thrown by a reference of its own."""
    robot = load_robot("heron")
    belief = Session(robot).belief
    belief = replace(belief, draws=replace(belief.draws, gain=0.3 * belief.draws.gain))
    spots = [Place(2.0), Place(3.2)]
    found = angle_sweep(robot, robot.targets[0], belief, spots, 42.0, 72.0, 5.0)
    thrown = {}
    for row in found.angles:
        of, target = plain(
            replace(robot, launcher=replace(robot.launcher, exit_angle=math.radians(row.exit_angle_deg)))
        )
        tops = []
        for spot in row.spots:
            chances = [
                reference.hit_chance(of, target, spot.distance_m, s, believed_of(belief, s), power=9)[0]
                for s in (spot.setpoint or 1500.0) * np.linspace(0.98, 1.02, 5)
            ]
            tops.append(np.polynomial.Polynomial.fit(np.arange(5), chances, 3)(np.linspace(0, 4, 41)).max())
        thrown[row.exit_angle_deg] = float(np.mean(tops))
        assert row.mean == pytest.approx(thrown[row.exit_angle_deg], abs=POINTS)
    assert thrown[found.best] > max(thrown.values()) - 0.01
    each = [max(row.spots[k].hit_probability for row in found.angles) for k in range(2)]
    assert found.each_best == pytest.approx(np.mean(each))


def test_where_only_the_angle_scatters_the_best_one_needs_the_least_speed():
    """Without air the speed to a point at distance L and height h is least at 45 deg + atan(h/L)/2, and there an error
    of the angle doesn't matter to first order (Brancazio, Am. J. Phys. 49 (1981) 356; from memory)."""
    only_angle = Uncertainty(grip=1e-3, exit_angle=1e-4, drag=1e-3, distance=1e-4, exit_speed_scatter=1e-3,
                             exit_angle_scatter=math.radians(2.5), side_scatter=1e-3)  # fmt: skip
    rise, distance = 0.6, 2.5
    robot = make_robot(element=PLAIN_BALL, target=Window(0.38 + rise, (0.6, 0.25)), uncertainty=only_angle)
    belief = Session(robot).belief
    belief = replace(belief, draws=replace(belief.draws, gain=0.05 * belief.draws.gain))
    found = angle_sweep(robot, robot.targets[0], belief, [Place(distance)], 35, 75, 1)
    least = 45 + math.degrees(math.atan2(rise, distance)) / 2
    middle = sum(found.flat) / 2
    assert middle == pytest.approx(least, abs=1.5)
    assert found.flat[0] <= found.best <= found.flat[1]
    chance = {row.exit_angle_deg: row.mean for row in found.angles}
    assert chance[found.best] > chance[round(least) - 15] + 0.1
    assert found.degree_costs is not None
    assert 0 <= found.degree_costs < 0.05


def test_now_is_what_aim_says():
    session = Session(load_robot("heron"))
    found = session.angle(50, 54, 2)
    assert found.now.exit_angle_deg == pytest.approx(52)
    for spot, row in zip(found.now.spots, found.angles[1].spots, strict=True):
        aim = session.aim(spot.distance_m)
        assert (spot.setpoint, spot.hit_probability) == (aim.setpoint.value, aim.hit_probability)
        assert row == spot


def test_a_spot_out_of_reach_scores_nothing_and_counts():
    found = Session(load_robot("heron")).angle(20, 22)
    assert found.angles[0].worst == 0.0
    assert None in [spot.setpoint for spot in found.angles[0].spots]


def test_mistakes_are_named():
    session = Session(load_robot("heron"))
    for low, high, step, words in (
        (60, 40, 1, "larger one"),
        (-60, 40, 1, "expected one from -30 to 85"),
        (40, float("nan"), 1, "expected one from"),
        (40, 60, 0, "above 0"),
        (40, 60, 0.01, "too many"),
    ):
        with pytest.raises(InputError, match=words):
            session.angle(low, high, step)
    with pytest.raises(InputError, match="slides its element"):
        Session(load_robot("otter")).angle(10, 20)
