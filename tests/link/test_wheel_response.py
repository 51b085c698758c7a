"""The wheel's control against step responses in closed form, and against six controllers whose every turn is known."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
import wheel_controllers as wheels
from robots import make_robot
from scipy.optimize import brentq

from fieldtune import InputError, Session, load_robot
from fieldtune.constants import RPM
from fieldtune.link.recordings.wheel_response import WheelTrace, wheel_response
from fieldtune.robot.model import Drive, Robot, SetpointRange

STALL_NM = 0.4
LEVELS = ((0.5, 1200.0), (3.5, 1600.0), (6.5, 2000.0), (9.5, 1400.0))


def trace(
    rpm: np.ndarray, setpoint: np.ndarray, rate_hz: float = 200.0, power: np.ndarray | None = None, volts: float = 10.0
) -> WheelTrace:
    n = len(rpm)
    unknown = np.full(n, np.nan)
    return WheelTrace(np.arange(n) / rate_hz, rpm, setpoint, unknown if power is None else power,
                      unknown if power is None else np.full(n, volts))  # fmt: skip


def stepped(shape, levels: tuple[float, ...] = (0.0, 1000.0, 1500.0), each_s: float = 4.0, rate_hz: float = 200.0):
    """Speed and setpoint: from each level to the next by a unit step response ``shape`` over time."""
    t = np.arange(round(each_s * rate_hz)) / rate_hz
    # The setpoint changes between two samples: half a sample before the first that shows it.
    rise = shape(t + 0.5 / rate_hz)
    rpm, wanted = [np.zeros(20)], [np.zeros(20)]
    for low, high in itertools.pairwise(levels):
        rpm.append(low + (high - low) * rise)
        wanted.append(np.full(len(t), high))
    return np.concatenate(rpm), np.concatenate(wanted)


@pytest.mark.parametrize("tau", [0.05, 0.2, 0.4])
def test_a_first_order_wheel(tau: float):
    """1 - exp(-t/tau): 63.2 % after tau, no overshoot; within 2 % of the final value once the rest of the step is."""
    found = wheel_response(trace(*stepped(lambda t: -np.expm1(-t / tau))))
    assert found.time_constant_s == pytest.approx(tau, rel=0.02)
    assert found.overshoot_rpm == 0.0
    settled = [tau * math.log(share / 0.02) for share in (1.0, 500 / 1500)]
    assert [step.settling_s for step in found.steps] == pytest.approx(settled, abs=0.01)
    assert found.steady_error_rpm == pytest.approx(0.0, abs=1.0)
    assert found.ripple_rpm < 0.5


@pytest.mark.parametrize(("damping", "rate"), [(0.3, 12.0), (0.6, 8.0), (0.8, 20.0)])
def test_a_second_order_wheel(damping: float, rate: float):
    """Overshoot exp(-pi zeta / sqrt(1 - zeta^2)) of the step (Ogata, Modern Control Engineering, eq. 5-21; from
    memory); the time to 63.2 % from the closed-form response."""
    root = math.sqrt(1 - damping**2)

    def response(t):
        return 1 - np.exp(-damping * rate * t) * (np.cos(rate * root * t) + damping / root * np.sin(rate * root * t))

    found = wheel_response(trace(*stepped(response)))
    over = math.exp(-math.pi * damping / root)
    assert [step.overshoot_rpm for step in found.steps] == pytest.approx([1000 * over, 500 * over], rel=0.02, abs=1.0)
    risen = brentq(lambda t: response(t) - (1 - math.exp(-1)), 1e-6, math.pi / (rate * root))
    assert found.time_constant_s == pytest.approx(risen, rel=0.02)
    envelope = math.log(0.02 * root) / (-damping * rate)  # a bound on the settling of a step from rest
    assert 0.4 * envelope < found.steps[0].settling_s <= envelope + 0.02


def test_ripple_steady_error_and_power_at_rest_come_back_with_their_spread():
    rng = np.random.default_rng(3)
    rpm, wanted = stepped(lambda t: -np.expm1(-t / 0.1), levels=(0.0, 800.0, 1200.0, 1600.0, 2000.0))
    rpm = np.where(wanted > 0, rpm - 15.0, 0.0)
    power = np.where(wanted > 0, 6.0 + 0.03 * rpm, 0.0)
    swing = 8.0 * np.sqrt(2) * np.sin(2 * np.pi * 7.0 * np.arange(len(rpm)) / 200)
    found = wheel_response(trace(rpm + swing * (wanted > 0), wanted, power=power + rng.normal(0, 0.3, len(rpm))))
    assert found.ripple_rpm == pytest.approx(8.0, rel=0.03)
    assert found.steady_error_rpm == pytest.approx(-15.0, abs=1.0)
    assert found.overshoot_rpm == 0.0
    assert found.static_offset_pct == pytest.approx(6.0, abs=4 * found.spread["static_offset_pct"])
    assert found.speed_slope_pct_per_rpm == pytest.approx(0.03, rel=0.02)
    assert found.static_offset_v == pytest.approx(found.static_offset_pct / 10)
    assert 0 < found.spread["static_offset_pct"] < 0.3
    assert found.hold_error == pytest.approx(np.sqrt(np.mean([(8 / s.final_rpm) ** 2 for s in found.steps])), rel=0.03)


def test_shots_end_the_stretch_that_they_fall_in():
    rpm, wanted = stepped(lambda t: -np.expm1(-t / 0.1))
    plain = trace(rpm, wanted)
    dropped = rpm.copy()
    hit = int(20 + 3.5 * 200)
    dropped[hit : hit + 60] -= 300 * np.exp(-np.arange(60) / 20)
    shot = WheelTrace(plain.time_s, dropped, wanted, plain.power_pct, plain.battery_v, (plain.time_s[hit],))
    assert wheel_response(shot).ripple_rpm < 0.5
    assert wheel_response(shot).steps[0].final_rpm == pytest.approx(1000, abs=1)


def driven() -> Robot:
    """A robot whose drive is that of the six controllers' wheel."""
    drive = Drive("speed", 1, wheels.NOMINAL_V, wheels.NO_LOAD_RPM * RPM, STALL_NM, wheels.STALL_A, 0.0, (), 1.0)
    return make_robot(drive=drive, setpoint=SetpointRange("rpm", 600, 2900, 10))


def recorded(run: wheels.WheelRun, folder: Path) -> Path:
    """A capture of the line at 100 lines/s, as a student's robot prints it."""
    lines = [
        f"t_ms={1000 * run.t[k]:.0f},wheel_rpm={run.rpm[k]:.1f},setpoint={run.setpoint[k]:.0f},"
        f"power_pct={100 * run.duty[k]:.1f},battery_mv={1000 * run.volts[k]:.0f}\n"
        for k in range(0, len(run.t), 10)
    ]
    path = folder / "wheel.txt"
    path.write_text("".join(lines))
    return path


@pytest.mark.parametrize("kind", wheels.CONTROLS)
def test_six_controllers(kind: str, tmp_path: Path):
    """Figures from the line against the same from every millisecond of what really happened, within 5 %."""
    run = wheels.run_wheel(kind, LEVELS, [], 12.5)
    found = Session(driven()).response(recorded(run, tmp_path))
    assert len(found.steps) == len(LEVELS)
    ends = [time for time, _ in LEVELS[1:]] + [12.5]
    for step, (begin, wanted), end in zip(found.steps, LEVELS, ends, strict=True):
        part = slice(run.index(begin), run.index(end))
        t, rpm = run.t[part] - begin, run.rpm[part]
        rest = t >= 0.75 * t[-1]
        final, start = rpm[rest].mean(), run.rpm[max(part.start - 1, 0)]
        assert step.final_rpm == pytest.approx(final, rel=0.002)
        assert step.steady_error_rpm == pytest.approx(final - wanted, abs=2.0)
        wobble = np.std(rpm[rest] - np.polyval(np.polyfit(t[rest], rpm[rest], 1), t[rest]))
        assert step.ripple_rpm == pytest.approx(wobble, rel=0.05, abs=0.3)
        sign = np.sign(final - start)
        risen = t[np.argmax(sign * (rpm - start) >= (1 - np.exp(-1)) * abs(final - start))]
        assert step.time_constant_s == pytest.approx(risen, rel=0.05, abs=0.006)
        peak = (sign * (rpm[~rest] - final)).max()
        if peak > 3.5 * wobble:
            assert step.overshoot_rpm == pytest.approx(peak, rel=0.05, abs=1.0)
    if kind == "on-off":
        assert found.static_offset_pct is None
        assert any("switches on and off" in note for note in found.notes)
        return
    # What the motor needs at rest: its back-emf, and the current that friction takes through its resistance.
    tau = 0.054 / 0.12
    rubbing = wheels.FRICTION_RPM_PER_S * tau / wheels.NO_LOAD_RPM
    assert found.speed_slope_v_per_rpm == pytest.approx(wheels.NOMINAL_V / wheels.NO_LOAD_RPM, rel=0.05)
    assert found.static_offset_v == pytest.approx(rubbing * wheels.NOMINAL_V, abs=0.05 * wheels.NOMINAL_V)
    assert found.no_load_torque_nm == pytest.approx(rubbing * STALL_NM, rel=0.05)
    # What the battery really gives at the fastest setpoint: the chopper's share of the motor's current.
    fastest = slice(run.index(8.7), run.index(9.4))
    amps = run.duty[fastest] * (run.duty[fastest] * run.volts[fastest] / wheels.NOMINAL_V
                                - run.rpm[fastest] / wheels.NO_LOAD_RPM) * wheels.STALL_A  # fmt: skip
    assert found.hold_current_a == pytest.approx(amps.mean(), rel=0.08)


def test_whether_it_is_good_enough_for_the_good_range(tmp_path: Path):
    robot = load_robot("heron")
    session = Session(robot)
    levels = ((0.5, 1300.0), (3.5, 1500.0), (6.5, 1700.0), (9.5, 1900.0))
    good = session.hold_verdict(session.response(recorded(wheels.run_wheel("PI stiff", levels, [], 12.5), tmp_path)))
    assert good.good_enough is True
    assert [spot.spot for spot in good.spots] == ["quay edge", "near line", "mid field", "far line"]
    bad = session.hold_verdict(session.response(recorded(wheels.run_wheel("feed-forward", levels, [], 12.5), tmp_path)))
    for spot in good.spots:
        assert spot.held_low < spot.setpoint + 5
        assert spot.low <= spot.setpoint <= spot.high
    assert bad.spots[0].held_high - bad.spots[0].held_low > 0


def test_what_a_recording_lacks_is_said(tmp_path: Path):
    capture = tmp_path / "short.txt"
    capture.write_text("".join(f"t_ms={10 * k},wheel_rpm=1500,battery_mv=9800\n" for k in range(300)))
    with pytest.raises(InputError, match="wheel speed and setpoint together"):
        Session(load_robot("heron")).response(capture)
    capture.write_text("".join(f"t_ms={10 * k},setpoint=1500,battery_mv=9800\n" for k in range(300)))
    with pytest.raises(InputError, match="no wheel speed"):
        Session(load_robot("heron")).response(capture)
    capture.write_text("".join(f"t_ms={10 * k},wheel_rpm=1500,setpoint=1500\n" for k in range(300)))
    found = Session(load_robot("heron")).response(capture)
    assert found.time_constant_s is None
    assert any("no power" in note for note in found.notes)
    assert any("changes too little" in note for note in found.notes)
    with pytest.raises(InputError, match="no such file"):
        Session(load_robot("heron")).response(tmp_path / "none.txt")
    with pytest.raises(InputError, match="no wheel"):
        Session(load_robot("otter")).response(capture)
