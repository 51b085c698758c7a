"""Smoothed own rpm of a dead encoder is told from a wheel that really comes to a stop."""

from __future__ import annotations

import math

import numpy as np
import pytest
from decode_lines import decode_lines, robot_for, wrong_and_blank
from student_firmware import Firmware, sent
from thorough import thorough
from wheel_controllers import CONTROLS, session

from fieldtune.link.validation.dead_rpm import DeadRpm


@pytest.fixture(scope="module")
def wheels():
    return {kind: session(kind) for kind in CONTROLS}


@pytest.mark.parametrize(
    ("counts", "lowpass_s"),
    [(12.0, 0.05), (56.0, 0.1), (12.0, 0.2), *thorough((56.0, 0.05), (12.0, 0.1), (56.0, 0.2))],
)
def test_a_pulled_wire_fades_and_is_unknown_not_zero(wheels, lowpass_s, counts):
    wheel = wheels["PI soft"]
    firmware = Firmware(speed="rpm", lowpass_s=lowpass_s, dead_s=10.0, counts_per_turn=counts)
    decoding = decode_lines(sent(firmware, wheel), robot_for(counts), 23.0)
    assert all(look.wheel_rpm is None for look in decoding.looks if look.time_s > 10.6)
    assert decoding.notices["counter stands still"] == 1
    assert not [shot for shot in decoding.shots if shot.arrival_s > 10.0]


@pytest.mark.parametrize("kind", CONTROLS)
@pytest.mark.parametrize("lowpass_s", [0.0, *thorough(0.1, 0.5)])
def test_no_wheel_under_its_program_is_taken_for_one(wheels, kind, lowpass_s):
    wheel = wheels[kind]
    firmware = Firmware(speed="rpm", lowpass_s=lowpass_s, counts_per_turn=4096.0)
    decoding = decode_lines(sent(firmware, wheel), robot_for(4096.0), 23.0)
    assert "counter stands still" not in decoding.notices
    assert wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.003)[1] < 0.1


@pytest.mark.parametrize("counts", [12.0, 56.0])
@pytest.mark.parametrize("share", [0.6, 0.8])
@pytest.mark.parametrize("rate_hz", [50.0, 100.0])
def test_the_last_counts_before_a_wheel_stops_fade_as_those_of_a_dead_encoder(counts, share, rate_hz):
    """Its rpm, counted from line to line and smoothed by an exponential mean; it runs out under friction."""
    fading, smoothed, before = DeadRpm(), 0.0, 0
    for i in range(int(8 * rate_hz)):
        at = min(i / rate_hz, 5.0)
        turned = math.floor(counts * (20 * at - 2 * at * at))  # 1,200 rpm, slowed by 240 rpm a second
        smoothed = share * smoothed + (1 - share) * (turned - before) / counts * 60 * rate_hz
        before = turned
        fading.see(round(smoothed, 1))
        assert not fading.dead


@pytest.mark.parametrize("time_constant_s", [0.15, 0.3, 0.6])
@pytest.mark.parametrize("friction", [0.04, 0.1])
def test_a_braked_wheel_stops_at_a_definite_time(time_constant_s, friction):
    """Shorted motor and dry friction: J dw/dt = -k w - M, so that w + M/k fades, and w is 0 when that is M/k."""
    fading = DeadRpm()
    for i in range(200):
        rpm = 2400 * ((1 + friction) * math.exp(-0.02 * i / time_constant_s) - friction)
        fading.see(max(round(rpm), 0))
        assert not fading.dead


def test_a_program_that_hangs_is_no_even_wheel(wheels):
    """It says its last speed for ever, to the last digit; the wheel may do anything."""
    wheel = wheels["PI soft"]
    times = np.arange(0.2, 22.0, 0.02)
    said = wheel.rpm[[wheel.index(min(at, 12.0)) for at in times]] + np.where(
        times < 12.0, np.random.default_rng(1).normal(0, 6, len(times)), 0.0
    )
    chunks = [
        (at + 0.004, f"t_ms={1000 * at:.0f},wheel_rpm={rpm:.1f}\n".encode())
        for at, rpm in zip(times, said, strict=True)
    ]
    decoding = decode_lines(chunks, robot_for(), 22.0)
    assert all(look.wheel_rpm is None for look in decoding.looks if look.time_s > 13.5)
    assert all(look.wheel_rpm is not None for look in decoding.looks if 2.0 < look.time_s < 12.0)
    assert decoding.notices["counter stands still"] == 1


@pytest.mark.parametrize("step_rpm", [1, 60, *thorough(10, 100)])
def test_a_rounded_speed_that_stands_is_an_even_wheel(wheels, step_rpm):
    wheel = wheels["PI stiff"]
    times = np.arange(0.2, 22.0, 0.02)
    rpm = np.round(wheel.rpm[[wheel.index(at) for at in times]] / step_rpm) * step_rpm
    chunks = [
        (at + 0.004, f"t_ms={1000 * at:.0f},wheel_rpm={one:.0f}\n".encode()) for at, one in zip(times, rpm, strict=True)
    ]
    assert "counter stands still" not in decode_lines(chunks, robot_for(), 22.0).notices


def test_it_is_alive_again_when_it_rises():
    fading = DeadRpm()
    for i in range(20):
        fading.see(round(2400 * 0.9**i, 2))
    assert fading.dead
    fading.see(0.0)
    assert fading.dead
    fading.see(300.0)
    assert not fading.dead


@pytest.mark.parametrize("brake_rps2", [40.0, 100.0])
def test_a_soft_start_and_a_shorted_motor_are_no_pulled_wire(brake_rps2):
    """It is brought up far more slowly than the motor could, and stopped by its shorted motor in a quarter second."""
    at = np.arange(0.2, 18.0, 0.02)
    turns = np.clip(np.minimum((at % 9.0 - 1.0) * 12.0, 23.0), 0.0, None)
    turns = np.clip(turns - np.clip(at % 9.0 - 6.0, 0.0, None) * brake_rps2, 0.0, None)
    rpm = np.where(turns > 0, 60 * turns + np.random.default_rng(2).normal(0, 3, len(at)), 0.0).round()
    chunks = [
        (when + 0.004, f"t_ms={1000 * when:.0f},wheel_rpm={one:.0f}\n".encode())
        for when, one in zip(at, rpm, strict=True)
    ]
    decoding = decode_lines(chunks, robot_for(100.8), 17.9)
    assert "counter stands still" not in decoding.notices
    assert all(look.wheel_rpm is not None for look in decoding.looks if look.time_s > 1.0)
