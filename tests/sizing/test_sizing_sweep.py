"""Gears and springs swept: every train counted, the front what it says, the best a usable one."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from robots import altered, crane, heron, otter

from fieldtune.battery.ceiling import BETWEEN_SHOTS_S, ceiling
from fieldtune.battery.resistance import LOW_CHARGE, rest_voltage
from fieldtune.constants import RPM
from fieldtune.errors import InputError
from fieldtune.robot.model import Battery, SetpointRange
from fieldtune.sizing.gear_trains import (
    COMMON_TEETH,
    HEADROOM,
    MOST_KINDS,
    PRESENT,
    TORQUE_MARGIN,
    best_tradeoffs,
    chunks,
    gear_trains,
    sweep_cocking,
    sweep_wheel,
    tried_teeth,
    with_present,
)
from fieldtune.sizing.reach import reach_table
from fieldtune.sizing.size import size, supply_of


def test_all_trains_of_a_small_set():
    trains = gear_trains((10, 20), stages=2)
    pairs = {trains.pairs(row) for row in range(len(trains))}
    assert pairs == {
        ((10, 10),), ((10, 20),), ((20, 10),), ((20, 20),),
        ((10, 20), (10, 20)), ((10, 20), (20, 10)), ((20, 10), (20, 10)),
    }  # fmt: skip
    assert len(pairs) == len(trains)
    assert sorted(trains.reduction) == pytest.approx([0.25, 0.5, 1, 1, 1, 2, 4])


def test_no_gears_is_an_error_with_a_remedy():
    with pytest.raises(InputError, match="teeth_available"):
        gear_trains(())
    with pytest.raises(InputError, match=r"\[drive\]"):
        sweep_wheel(
            heron(drive=None),
            heron().launcher.mechanism,
            supply_of(heron()),
            reach_table(heron(), heron().target()),
            2000.0,
        )


@pytest.mark.parametrize("gears", [(), ((20, 30),), ((12, 60), (15, 75), (16, 48))])
def test_the_drives_own_train_is_among_them_however_many_stages_it_has(gears):
    robot = heron(drive={"gears": gears})
    trains = with_present(gear_trains((10, 20)), robot.drive)
    assert trains.pairs(PRESENT) == gears
    assert trains.reduction[PRESENT] == pytest.approx(robot.drive.reduction)
    assert len(trains) == len(gear_trains((10, 20))) + 1
    assert {len(trains.pairs(row)) for row in range(1, len(trains))} == {1, 2}
    figures = size(robot)
    (present,) = (choice for choice in figures.choices if choice.present)
    assert (present.gears, present.reduction) == (gears, pytest.approx(figures.reduction))
    assert present.ceiling_rpm_low == pytest.approx(figures.ceiling_rpm_low)


def test_a_long_list_of_gears_is_thinned_and_said():
    kinds = tried_teeth(tuple(range(10, 110)))
    assert (len(kinds), kinds[0], kinds[-1]) == (MOST_KINDS, 10, 109)
    assert max(b - a for a, b in itertools.pairwise(kinds)) <= 4
    assert tried_teeth((30, 20, 20)) == (20, 30)
    robot = heron(drive={"teeth_available": tuple(range(10, 43))})
    assert sum("33 different gears" in note for note in size(robot).notes) == 1
    assert not any("different gears" in note for note in size(heron()).notes)


def test_a_gear_train_that_cannot_reach_is_told_what_would():
    """1:45 on the wheel: the spots' speeds are known all the same, and the choices reach them."""
    free = heron(drive={"gears": ()}).drive.no_load_speed / 45 / RPM
    slow = altered(
        heron(setpoint=SetpointRange("rpm", 10, free, 10, high_given=False)), drive={"gears": ((10, 90), (10, 50))}
    )
    figures = size(slow)
    assert figures.needed_rpm.far == pytest.approx(size(heron()).needed_rpm.far, rel=1e-3)
    assert figures.headroom_low < -0.9
    assert any("change the gears" in note for note in figures.notes)
    best = next(choice for choice in figures.choices if choice.best)
    assert best.ceiling_rpm_low > (1 + HEADROOM) * figures.needed_rpm.far
    assert best.farthest_m >= 3.2


def test_a_stated_limit_of_the_robot_program_bounds_the_reach():
    limited = size(heron(setpoint=SetpointRange("rpm", 600, 1200, 10)))
    assert all(choice.farthest_m is None or choice.farthest_m < 2.5 for choice in limited.choices)
    assert any("setpoint.high allows 1200" in note for note in limited.notes)
    follows = size(heron(setpoint=SetpointRange("rpm", 600, 1200, 10, high_given=False)))
    assert follows.farthest_m > 3.2


def test_a_present_train_that_is_as_good_stays():
    robot = heron()
    best = next(choice for choice in size(robot).choices if choice.best)
    stays = next(choice for choice in size(altered(robot, drive={"gears": best.gears})).choices if choice.best)
    assert stays.present


def test_speed_is_bought_with_torque():
    """Ideal gears: ceiling times torque is the same for all, but for the losses of a second stage."""
    choices = size(heron(drive={"stage_efficiency": 1.0})).choices
    power = [choice.stall_torque_nm * choice.ceiling_rpm_low for choice in choices if choice.ceiling_rpm_low]
    assert max(power) == pytest.approx(min(power), rel=0.02)


def test_an_arm_whose_gears_to_choose_from_are_too_small_says_so():
    strong = crane(drive={"gears": ((12, 60), (15, 75), (16, 48)), "teeth_available": (20, 24, 30)})
    figures = size(strong)
    assert any("larger gears" in note for note in figures.notes)
    (only,) = figures.choices
    assert only.present
    assert only.best


def test_chunks_cover_everything_once():
    assert [list(range(10))[piece] for piece in chunks(10, 4)] == [[0, 1, 2, 3], [4, 5, 6, 7], [8, 9]]


def test_front_agrees_with_the_definition():
    rng = np.random.default_rng(5)
    costs = rng.integers(0, 12, size=(300, 3)).astype(float)
    costs[7, 1] = np.inf
    good = np.isfinite(costs).all(axis=1)
    beaten = [
        any((costs[j] <= costs[i]).all() and (costs[j] < costs[i]).any() for j in np.flatnonzero(good))
        for i in range(len(costs))
    ]
    assert (best_tradeoffs(costs) == (good & ~np.array(beaten))).all()


def test_front_of_nothing():
    assert not best_tradeoffs(np.full((3, 2), np.nan)).any()
    assert best_tradeoffs(np.empty((0, 2))).shape == (0,)


def test_the_sweep_gives_each_train_what_the_ceiling_gives_it_alone():
    robot = heron()
    sweep = sweep_wheel(robot, robot.launcher.mechanism, supply_of(robot), reach_table(robot, robot.target()), 1500.0)
    low_v = rest_voltage(robot, LOW_CHARGE)
    rng = np.random.default_rng(1)
    for row in rng.integers(0, len(sweep.gears), 20):
        alone = altered(robot, drive={"gears": sweep.gears.pairs(int(row))})
        assert sweep.ceiling[row] == pytest.approx(ceiling(alone, low_v, between_s=BETWEEN_SHOTS_S), rel=1e-9)


def test_best_wheel_train_has_the_headroom_and_recovers_quickest():
    robot = heron()
    sweep = sweep_wheel(robot, robot.launcher.mechanism, supply_of(robot), reach_table(robot, robot.target()), 1500.0)
    usable = sweep.ceiling >= (1 + HEADROOM) * 1500.0
    assert usable[sweep.best]
    assert sweep.second[sweep.best] <= 1.01 * sweep.second[usable].min()


def test_no_usable_train_takes_the_highest_ceiling():
    robot = heron()
    sweep = sweep_wheel(robot, robot.launcher.mechanism, supply_of(robot), reach_table(robot, robot.target()), 1e6)
    assert sweep.ceiling[sweep.best] == sweep.ceiling.max()
    assert not np.isfinite(sweep.first).any()


def test_best_cocking_train_has_the_margin():
    robot = otter()
    sweep = sweep_cocking(robot, robot.launcher.mechanism, supply_of(robot), reach_table(robot, robot.target()))
    assert sweep.first[sweep.best] >= TORQUE_MARGIN
    usable = sweep.first >= TORQUE_MARGIN
    assert sweep.second[sweep.best] <= 1.01 * sweep.second[usable].min()


def test_progress_is_told_above_ten_thousand():
    robot, seen = heron(), []
    teeth = (*COMMON_TEETH, 14, 22)
    sweep_wheel(
        robot, robot.launcher.mechanism, supply_of(robot), reach_table(robot, robot.target()), 1500.0, teeth,
        progress=lambda done, total: seen.append((done, total)),
    )  # fmt: skip
    total = seen[-1][1]
    assert total > 10_000
    assert seen[-1] == (total, total)
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


def test_springs_around_the_present_one():
    figures = size(otter())
    present = [s for s in figures.springs if s.present]
    assert len(present) == 1
    assert present[0].exit_speed_max_mps == pytest.approx(figures.exit_speed_max_mps)
    assert present[0].torque_margin == pytest.approx(figures.torque_margin)
    best = next(s for s in figures.springs if s.best)
    assert best.torque_margin >= TORQUE_MARGIN
    robot, table = otter(), reach_table(otter(), otter().target())
    enough = 1.1 * math.exp(table.needed(robot.spots[0].distance))  # a tenth of the speed to spare
    softer = [s for s in figures.springs if s.spring_rate_n_per_mm < best.spring_rate_n_per_mm]
    assert best.exit_speed_max_mps >= enough
    assert all(s.exit_speed_max_mps < enough for s in softer)


def test_a_stiffer_spring_than_the_drive_can_cock_is_drawn_less():
    springs = {s.rate_share: s for s in size(crane()).springs}
    assert springs[2.5].draw_mm < springs[1.0].draw_mm


def test_choices_stay_empty_without_a_battery():
    assert size(heron(battery=None)).choices == ()
    assert size(otter(battery=Battery("nimh", 10, None))).springs == ()
