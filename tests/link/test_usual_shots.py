"""What shots of a wheel are like, from the profile and from shots before; and cells that show why."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from decode_lines import caught, decode_lines, robot_for
from student_firmware import Firmware, sent
from thorough import thorough
from wheel_controllers import changing, shooting

from fieldtune.link.samples import Sample
from fieldtune.link.shots import drop_fit
from fieldtune.link.shots.drop_detection import DropDetector
from fieldtune.link.shots.usual_shots import UsualShots
from fieldtune.link.wheel import wheel_lags
from fieldtune.link.wheel.wheel_noise import WheelNoise
from fieldtune.link.wheel.wheel_points import WheelPoints


def test_a_doubtful_drop_counts_once_one_like_it_came_within_a_minute():
    usual = UsualShots(0.1)
    assert usual.shows(30.0, 10.0, False)
    assert not usual.beyond_doubt(30.0, False)
    assert not usual.came_before(10.0, 0.05)
    assert not usual.came_before(20.0, 0.15)  # of another depth
    assert usual.came_before(30.0, 0.06)
    assert not usual.came_before(200.0, 0.05)


def test_shots_are_asked_about_beyond_what_the_last_ones_took():
    usual = UsualShots(0.3)
    assert usual.shares[0] < 0.1
    assert usual.shares[1] > 0.3
    for share in (0.04, 0.05, 0.05, 0.06):
        usual.learn(100.0, share)
    usual.learn(30.0, 0.3)  # not beyond doubt
    assert not usual.learned
    usual.learn(100.0, 0.05)
    assert usual.learned
    assert 0.03 < usual.shares[0] < 0.05 < usual.shares[1] < 0.1
    assert usual.beyond_doubt(30.0, False)
    assert usual.shows(22.0, 10.0, noisy=False)  # what they are like is known: less has to stand out
    assert not usual.shows(22.0, 10.0, noisy=True)


@pytest.mark.parametrize(
    ("kind", "share", "firmware"),
    [
        # How lines are timed shows only after a while: until then the noise must not be held to be too large.
        ("PI stiff", 0.12, Firmware(rate_hz=20.0, counts_per_turn=2048.0, setpoint=True)),
        # Wheels that run out from an overshoot, or to a lower setpoint: they are not brought back.
        *thorough(("PI winding up", 0.12, Firmware(rate_hz=20.0, counts_per_turn=2048.0, speed="rpm"))),
        ("PI winding up", 0.08, Firmware(rate_hz=20.0, counts_per_turn=4096.0)),
        # So seldom a dip looks like a smooth swing, too.
        *thorough(("PI soft", 0.05, Firmware(rate_hz=1000.0, counts_per_turn=12.0, bridge_s=0.016))),
    ],
    ids=["first shots", "runs out, rpm", "runs out, counts", "smooth"],
)
def test_shots_are_found(kind, share, firmware):
    wheel = shooting(kind, share, 30, seed=6)
    found, made_up = caught(wheel, firmware, share, 6)
    assert found >= 0.9
    assert made_up == 0


@pytest.mark.parametrize(
    ("kind", "share", "firmware", "least"),
    [
        # A few counts, or steps of one count: against the usual course less stands out by chance.
        *thorough(("PI stiff", 0.12, Firmware(rate_hz=20.0, counts_per_turn=12.0, speed="rpm"), 0.78)),
        ("feed-forward", 0.08, Firmware(rate_hz=20.0, counts_per_turn=12.0, setpoint=True), 0.75),
        # Somebody lowers the wheel and the robot doesn't say so: no shot of this wheel goes on like that.
        ("PI stiff", 0.08, Firmware(rate_hz=20.0, counts_per_turn=48.0), 0.95),
        *thorough(("PI current-limited", 0.08, Firmware(rate_hz=20.0, counts_per_turn=56.0, speed="rpm"), 0.95)),
    ],
    ids=["own rpm", "counts", "lowered, counts", "lowered, rpm"],
)
def test_shots_are_known_by_the_course_of_those_before(kind, share, firmware, least):
    wheel = shooting(kind, share, 72, seed=109)
    found, made_up = caught(wheel, firmware, share, 109)
    assert found >= least
    assert made_up == 0


@pytest.mark.parametrize(
    ("kind", "share", "firmware", "least"),
    [
        # Shots not found must not pass for noise, or ever fewer stand out of it.
        ("on-off", 0.03, Firmware(rate_hz=50.0, counts_per_turn=48.0, setpoint=True), 0.92),
        # Still above its setpoint, no wheel is lowered: what slows it is a shot, even where lines are too few to say
        # how suddenly; such shots don't teach how a wheel comes back.
        *thorough(("PI winding up", 0.05, Firmware(rate_hz=20.0, counts_per_turn=2048.0), 0.83)),
    ],
    ids=["noise", "runs out, seldom read"],
)
def test_shots_are_found_of_many(kind, share, firmware, least):
    wheel = shooting(kind, share, 72, seed=6)
    found, made_up = caught(wheel, firmware, share, 6)
    assert found >= least
    assert made_up == 0


def test_a_dip_that_no_shot_fits_teaches_no_course():
    """A wheel that is raised."""
    points, noise, cell = WheelPoints(0.01), WheelNoise(), 0.02
    for i in range(120):
        at = i * cell
        sample = Sample(time_s=at, arrival_s=at, turns=20 * at + 3 * max(at - 0.9, 0.0))
        points.add(sample, (at, sample.turns or 0.0, 0.001))
    seen = drop_fit.view_around(points, noise, 1.0, 20, 20, noisy=False)
    assert seen is not None
    assert drop_fit.course_of(seen[0], points.cell_s, 20, 20, seen[1]) is None


@pytest.mark.slow
@pytest.mark.parametrize("seed", [31, 103])
def test_a_coarse_reading_does_not_pass_for_a_wheel_that_runs_out(seed):
    """A stiff loop that is lowered again and again, untold, its rpm in steps of one count of twelve a turn."""
    wheel = changing("PI stiff", 25, 2000 / 6, seed=seed)
    firmware = Firmware(rate_hz=50.0, counts_per_turn=12.0, speed="rpm")
    assert decode_lines(sent(firmware, wheel, seed), robot_for(12.0, 0.12)).shots == []


def test_the_usual_course_is_the_mean_of_what_shots_were():
    """Against the simulated wheel itself: what its speed is short of behind its shots."""
    wheel = shooting("PI soft", 0.12, 12, seed=4)
    detector = DropDetector(robot_for(2048.0, 0.12))
    for i in range(0, len(wheel.t), 10):
        at, turns = float(wheel.t[i]), float(wheel.turns[i])
        sample = Sample(time_s=at, arrival_s=at, turns=turns)
        detector.see(sample, (at, turns, 0.001), 0.001)
    course = detector._usual.course
    assert course is not None
    after = 50
    lost = np.diff(wheel_lags.usual_lags(0.01, 35, after, course.parts)[2])[35:] / 0.01
    truth = []
    for shot, behind in pairwise(wheel.shots):
        if behind.time_s - shot.time_s < 1.6:
            k = wheel.index(shot.time_s)
            truth.append(1 - wheel.rpm[k + 5 : k + 10 * after : 10] / shot.before_rpm)
    assert lost[: len(truth[0])] == pytest.approx(np.mean(truth, axis=0), abs=0.018)


def test_a_battery_that_sags_far_more_than_at_shots_makes_no_shots():
    """The robot drives off: battery and wheel go down together for a while."""
    wheel = shooting("PI soft", 0.05, 24, seed=3)
    down, volts = np.ones_like(wheel.rpm), wheel.volts.copy()
    starts = [shot.time_s + 0.7 for shot, behind in pairwise(wheel.shots[6:]) if behind.time_s - shot.time_s > 1.3]
    for start in starts:
        since = np.clip((wheel.t - start) / 0.1, 0.0, 1.0) - np.clip((wheel.t - start - 0.3) / 0.15, 0.0, 1.0)
        down, volts = down - 0.07 * since, volts - 2.0 * (since > 0)
    rpm = wheel.rpm * down
    turns = np.concatenate([[0.0], np.cumsum(rpm[:-1]) / 60 * np.diff(wheel.t)])
    sagging = replace(wheel, rpm=rpm, turns=turns, volts=volts)
    firmware = Firmware(rate_hz=100.0, counts_per_turn=56.0, setpoint=True)
    found, made_up = caught(sagging, firmware, 0.05, 3)
    assert len(starts) == 8
    assert found >= 0.9
    assert made_up <= 1


@pytest.mark.parametrize("speed", ["counts", "rpm"])
def test_a_dip_whose_depth_hardly_shows_may_be_as_deep_as_expected(speed):
    """An on-off wheel of 12 counts a turn, 20 lines/s: what fits freely is anything from 2 to 70 % deep.

    Of 72 shots 43 were found while that had to be near to what the profile lets expect.
    """
    firmware = Firmware(rate_hz=20, counts_per_turn=12, speed=speed, setpoint=True)
    found, made_up = caught(shooting("on-off", 0.12, 72, seed=701), firmware, 0.12, 701)
    assert found > 0.75
    assert made_up == 0
