"""Own rpm that the robot's program smooths: its shots, what is said of it, and readings that only look so."""

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for, slack_s
from student_firmware import Firmware, sent
from thorough import thorough
from wheel_controllers import changing, run_wheel, shooting

from fieldtune.link import Line
from fieldtune.link.samples import Sample
from fieldtune.link.shots.shot_detection import ShotDetector
from fieldtune.link.wheel.smoothed_dips import rises_at_once
from fieldtune.link.wheel.smoothed_rpm import SmoothedRpm
from fieldtune.link.wheel.smoothing_fit import LOW_PASS_S, MEAN_S, dips


def smoothed_over(notices):
    return [words for words in notices if words.startswith("own rpm is smoothed over")]


@pytest.mark.parametrize(
    ("kind", "share", "firmware"),
    [
        ("PI soft", 0.12, Firmware(rate_hz=50.0, counts_per_turn=2048.0, speed="rpm", lowpass_s=0.2)),
        ("feed-forward", 0.08, Firmware(rate_hz=100.0, counts_per_turn=2048.0, speed="rpm", lowpass_s=0.4)),
        *thorough(
            ("PI stiff", 0.12, Firmware(50.0, counts_per_turn=256.0, speed="rpm", lowpass_s=0.3, setpoint=True)),
            ("PI soft", 0.12, Firmware(rate_hz=50.0, counts_per_turn=2048.0, speed="rpm", lowpass_s=0.2, clock=None)),
        ),
    ],
)
def test_shots_are_found_in_own_rpm_that_is_low_passed(kind, share, firmware):
    wheel = shooting(kind, share, shots=24, seed=71)
    decoded = decode_lines(sent(firmware, wheel, 71), robot_for(share=share))
    pairs, made_up = matched(decoded.shots, [shot.time_s for shot in wheel.shots], slack_s(firmware) + 0.1)
    assert len(pairs) >= 20  # the first ones are what it is told by
    assert made_up == 0
    off = [decoded.shots[i].speed_rpm / wheel.shots[j].before_rpm - 1 for i, j in pairs]
    assert np.median(np.abs(off)) < 0.005
    assert smoothed_over(decoded.notices)


@pytest.mark.parametrize(
    ("kind", "share", "firmware"),
    [
        ("on-off", 0.12, Firmware(rate_hz=100.0, counts_per_turn=56.0, speed="rpm", lowpass_s=0.2)),
        ("PI soft", 0.12, Firmware(rate_hz=100.0, speed="rpm", rpm_hz=20.0, lowpass_s=0.3, setpoint=True)),
        *thorough(
            ("PI current-limited", 0.12, Firmware(rate_hz=100.0, counts_per_turn=56.0, speed="rpm", lowpass_s=0.3)),
            ("PI winding up", 0.08, Firmware(rate_hz=1000.0, speed="rpm", lowpass_s=0.1, bridge_s=0.016)),
        ),
    ],
)
def test_a_low_pass_is_told_by_the_steps_of_counts_in_it_and_depths_are_right(kind, share, firmware):
    wheel = shooting(kind, share, shots=24, seed=75)
    decoded = decode_lines(sent(firmware, wheel, 75), robot_for(share=share))
    pairs, made_up = matched(decoded.shots, [shot.time_s for shot in wheel.shots], slack_s(firmware) + 0.1)
    assert len(pairs) >= 20
    assert made_up == 0
    deep = [decoded.shots[i].depth_rpm / wheel.shots[j].depth_rpm for i, j in pairs]
    assert 0.75 < np.median(deep) < 1.35


@pytest.mark.parametrize("kind", ["on-off", *thorough("PI soft", "feed-forward")])
def test_a_wheel_that_is_lowered_untold_again_and_again_is_not_held_to_be_smoothed(kind):
    """It falls slowly, and may come back from below; but it rises at once. Otherwise 6 of these 30 were made up."""
    line = Line(robot_for(2048.0, 0.03))
    firmware = Firmware(rate_hz=50.0, counts_per_turn=2048.0, speed="rpm")
    for arrival_s, data in sent(firmware, changing(kind, 30, 90.0, 0.03, seed=503), 503):
        line.feed(data, arrival_s)
        assert not smoothed_over(line.live("live", "", None, arrival_s).health.notices)
    assert len(line.shots) <= 1


@pytest.mark.parametrize("lead_s", [0.0, 0.1, 0.3])
def test_a_rise_begins_at_once_unless_it_is_smoothed(lead_s):
    """A heavy wheel that is driven on, and one behind a first-order low-pass, of which a corner is none."""
    t = np.arange(0.0, 3.0, 0.001)
    rpm = 2000.0 + 300.0 * -np.expm1(-np.maximum(t - 1.5, 0.0) / 0.5)
    shown = rpm.copy()
    for i in range(1, len(t)):
        shown[i] = shown[i - 1] + (rpm[i] - shown[i - 1]) * (0.001 / lead_s if lead_s else 1.0)
    speeds = shown[::20] + np.random.default_rng(4).normal(0.0, 0.3, 150)
    assert rises_at_once(speeds, 10, 130, 0.1) is not bool(lead_s)


@pytest.mark.parametrize(
    ("kind", "share", "rate_hz", "shots"),
    [
        ("PI stiff", 0.08, 50.0, 36),
        *thorough(("PI stiff", 0.08, 50.0, 72), ("PI winding up", 0.08, 100.0, 72), ("feed-forward", 0.12, 1000.0, 72)),
    ],
)
def test_own_rpm_of_an_ordinary_robot_is_at_no_time_said_to_be_smoothed(kind, share, rate_hz, shots):
    bridge_s = 0.016 if rate_hz == 1000.0 else 0.0
    firmware = Firmware(
        rate_hz=rate_hz, counts_per_turn=2048.0, speed="rpm", setpoint=rate_hz > 50.0, bridge_s=bridge_s
    )
    line, due_s = Line(robot_for(2048.0, share)), 0.0
    for arrival_s, data in sent(firmware, shooting(kind, share, shots, seed=113), 113):
        line.feed(data, arrival_s)
        if arrival_s > due_s:
            due_s = arrival_s + 0.5
            assert smoothed_over(line.health().notices) == []


@pytest.mark.parametrize(
    ("kind", "lowpass_s"),
    [
        ("on-off", 0.3),
        ("PI winding up", 0.0),
        *thorough(
            ("on-off", 0.0),
            ("PI winding up", 0.3),
            *((kind, lowpass_s) for kind in ("PI soft", "PI stiff", "feed-forward") for lowpass_s in (0.0, 0.3)),
        ),
    ],
)
def test_setpoints_that_change_quickly_are_no_shots(kind, lowpass_s):
    firmware = Firmware(rate_hz=50.0, counts_per_turn=2048.0, speed="rpm", lowpass_s=lowpass_s)
    wheel = changing(kind, 12, 60.0, seed=72)
    decoded = decode_lines(sent(firmware, wheel, 72), robot_for())
    assert decoded.shots == []
    if not lowpass_s:
        assert smoothed_over(decoded.notices) == []


@pytest.mark.parametrize("kind", ["on-off", *thorough("PI soft", "PI stiff", "PI current-limited")])
@pytest.mark.parametrize("counts_per_turn", [56.0, *thorough(4096.0)])
def test_a_wheel_that_swings_by_itself_is_not_taken_for_smoothed(kind, counts_per_turn):
    firmware = Firmware(rate_hz=100.0, counts_per_turn=counts_per_turn, speed="rpm")
    wheel = shooting(kind, 0.12, shots=24, seed=73)
    decoded = decode_lines(sent(firmware, wheel, 73), robot_for(share=0.12))
    assert smoothed_over(decoded.notices) == []


@pytest.mark.parametrize(
    ("kind", "share", "rate_hz"),
    [("PI winding up", 0.15, 20.0), *thorough(("PI soft", 0.12, 20.0), ("PI stiff", 0.05, 20.0))],
)
def test_too_few_lines_a_second_are_not_taken_for_smoothed(kind, share, rate_hz):
    firmware = Firmware(rate_hz=rate_hz, counts_per_turn=4096.0, speed="rpm")
    wheel = shooting(kind, share, shots=72, seed=137)
    decoded = decode_lines(sent(firmware, wheel, 137), robot_for(share=share))
    assert smoothed_over(decoded.notices) == []
    pairs, _ = matched(decoded.shots, [shot.time_s for shot in wheel.shots], slack_s(firmware))
    deep = [decoded.shots[i].depth_rpm / wheel.shots[j].depth_rpm for i, j in pairs]
    assert np.median(deep) < 1.4


def test_a_wheel_that_rests_at_first_tells_nothing_of_smoothing_and_hides_none():
    shots = [(at, 0.12) for at in np.arange(9.0, 25.0, 1.3)]
    wheel = run_wheel("PI soft", [(6.0, 2000.0)], shots, 26.0, seed=77)
    decoded = decode_lines(sent(Firmware(50.0, 2048.0, "rpm", lowpass_s=0.2), wheel, 77), robot_for())
    assert smoothed_over(decoded.notices)


def test_what_is_printed_too_coarsely_is_only_told_of():
    firmware = Firmware(rate_hz=50.0, counts_per_turn=2048.0, speed="rpm", lowpass_s=0.4)
    wheel = shooting("PI soft", 0.12, shots=18, seed=74)
    fives = []
    for at, line in sent(firmware, wheel, 74):
        head, rpm, tail = line.partition(b"wheel_rpm=")[0], *line.partition(b"wheel_rpm=")[2].partition(b",")[::2]
        fives.append((at, head + b"wheel_rpm=" + b"%d" % (round(float(rpm) / 5) * 5) + b"," + tail))
    decoded = decode_lines(fives, robot_for(share=0.12))
    assert matched(decoded.shots, [shot.time_s for shot in wheel.shots], 0.4)[1] == 0
    assert smoothed_over(decoded.notices)


def test_a_dip_that_is_seen_anew_is_asked_about_once():
    firmware = Firmware(rate_hz=100.0, counts_per_turn=2048.0, speed="rpm")
    line, detector = Line(robot_for(2048.0)), ShotDetector(robot_for(2048.0))
    wheel = run_wheel("feed-forward", [(0.0, 2000.0)], [(2.0, 0.05)], 5.0, 0.12, seed=76)
    samples = [sample for at, data in sent(firmware, wheel, 76) for sample in line.feed(data, at)]
    for _ in range(3):
        for sample in samples:
            detector.see(sample, None, 0.001, False)
        detector.begin_anew()
        assert detector.unconfirmed == 1


def test_a_low_pass_is_undone_by_its_own_equation():
    # Step response of a first-order low-pass: 1 - exp(-t / tau) (Oppenheim & Willsky, Signals and Systems, 6.5.1).
    tau_s, step_s = 0.3, 0.01
    smoothing = SmoothedRpm(0.9)
    smoothing.smoothed_s = smoothing._undone_s = tau_s
    times = np.arange(0.0, 1.0, step_s)
    sent_rpm = 2000.0 - 200.0 * np.where(times > 0.5, -np.expm1(-(times - 0.5) / tau_s), 0.0)
    given = []
    for t, rpm in zip(times, sent_rpm, strict=True):
        given += smoothing.see(Sample(time_s=t, arrival_s=t, wheel_rpm=rpm), False, lambda: None)
    rpm = np.array([sample.wheel_rpm for sample in given])
    assert np.abs(rpm[times < 0.5 - step_s] - 2000.0).max() < 1e-6
    assert np.abs(rpm[times > 0.5 + 2 * step_s] - 1800.0).max() < 200.0 * step_s / tau_s
    turns = np.sum(rpm) * step_s / 60
    assert turns == pytest.approx((2000.0 - 0.49 * 200.0) / 60, abs=200.0 * 2 * step_s / 60)


@pytest.mark.parametrize("tau_s", [0.09, 0.28])
def test_a_smoothed_dip_fits_its_own_low_pass_and_a_sharp_one_none(tau_s):
    cell_s, fine = 0.02, 20
    t = np.arange(0, 75 * fine) * cell_s / fine - 0.75
    sharp = 2000.0 - 240.0 * np.where(t >= 0, np.exp(-np.maximum(t, 0) / 0.8), 0.0)
    smoothed, now, share = [], 2000.0, -np.expm1(-cell_s / fine / tau_s)
    for rpm in sharp:
        now += share * (rpm - now)
        smoothed.append(now)
    smoothers = [*LOW_PASS_S, *MEAN_S]
    for rpm, best in ((np.array(smoothed), 1 + smoothers.index(tau_s)), (sharp, 0)):
        left, depth = dips(rpm.reshape(75, fine).mean(axis=1), cell_s, 10, 46)
        assert left.argmin() == best
        assert depth[best] == pytest.approx(240.0, rel=0.15)


@pytest.mark.parametrize(("rate_hz", "control"), thorough((500.0, "PI stiff"), (1000.0, "PI soft")))
def test_own_rpm_of_each_of_fast_lines_is_averaged_here_and_not_called_smoothed(rate_hz, control):
    """From a few counts a line it jumps by a third; what is taken as a mean here has no steps of counts any more."""
    wheel = shooting(control, 0.12, 36, seed=3)
    firmware = Firmware(rate_hz=rate_hz, rpm_hz=rate_hz, speed="rpm")
    decoding = decode_lines(sent(firmware, wheel, 1), robot_for(56.0, 0.12))
    pairs, _ = matched(decoding.shots, [shot.time_s for shot in wheel.shots], slack_s(firmware))
    assert not any("smoothed" in notice for notice in decoding.notices)
    assert len(pairs) >= 0.95 * 36
