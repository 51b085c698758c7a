"""The guided tests: two pulses for the resistance, and recalibration after a battery change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from battery_bench import Simulation, Truth
from robots import big_heron, otter

from fieldtune.battery.change import Outlook, Recalibration, changed, instruction
from fieldtune.battery.resistance import TwoPulse, two_pulse_resistance
from fieldtune.battery.watch import BatteryWatch
from fieldtune.constants import RPM
from fieldtune.robot.chemistry import CHEMISTRIES
from fieldtune.robot.model import SetpointRange


def pack(robot, resistance=0.05, charge=0.6, seed=1):
    """A simulated robot at rest on a pack with this hidden resistance."""
    truth = Truth(np.array([resistance]), np.array([charge]), np.array([10800.0]), np.zeros(1))
    return Simulation(
        robot, truth, lambda c: CHEMISTRIES["nimh"].rest_voltage(c, 10), robot.speed_kept, np.random.default_rng(seed)
    )


def rows(recording):
    """Seconds, rpm, volts, amps, setpoint of the single seed."""
    r = recording
    columns = (r.t, r.rpm[:, 0], r.volts[:, 0], r.amps[:, 0], r.setpoint[:, 0])
    return list(zip(*(c.tolist() for c in columns), strict=True))


@pytest.mark.parametrize("with_current", [True, False])
def test_two_pulses_find_the_hidden_resistance(with_current):
    robot = big_heron()
    simulation = pack(robot)
    guided = TwoPulse(robot)
    assert "lowest setpoint" in guided.instruction
    for t, rpm, volts, amps, _ in rows(simulation.run(2.0, 600)) + rows(simulation.run(11.0, 600)):
        if t > 2.0:
            guided.feed(t, rpm, volts, amps if with_current else None)
    assert guided.step == "large"
    assert "highest setpoint" in guided.instruction
    for t, rpm, volts, amps, _ in rows(simulation.run(3.0, 4300)):
        guided.feed(t, rpm, volts, amps if with_current else None)
    assert guided.step == "done"
    assert guided.resistance_ohm == pytest.approx(0.05, rel=0.1)
    assert f"{1000 * guided.resistance_ohm:.0f} mΩ" in guided.instruction


def test_two_pulse_formula():
    """IEC 61960: R = (V1 - V2) / (I2 - I1); the chain gives the formula's value for steps without noise."""
    guided = TwoPulse(otter())
    for k in range(600):
        amps = 0.5 if k * 0.02 < 10.5 else 5.0
        guided.feed(k * 0.02, None, 12.8 - 0.12 * amps, amps)
    expected = float(two_pulse_resistance(12.8 - 0.06, 0.5, 12.8 - 0.6, 5.0))
    assert guided.step == "done"
    assert guided.resistance_ohm == pytest.approx(expected, rel=0.02)


def test_two_pulses_without_a_step_stay_waiting_and_odd_readings_are_left_out():
    guided = TwoPulse(otter())
    for k in range(900):
        guided.feed(k * 0.02, None, 12.5 if k % 7 else 0.0, 0.5)
    assert guided.step == "large"
    assert guided.resistance_ohm is None


def test_a_voltage_that_rises_with_the_load_fails_with_a_remedy():
    guided = TwoPulse(otter())
    for k in range(700):
        amps = 0.5 if k * 0.02 < 10.5 else 6.0
        guided.feed(k * 0.02, None, 12.0 + 0.05 * amps, amps)
    assert guided.step == "failed"
    assert "send current_ma" in guided.instruction


def spun(robot, setpoint, *, resistance=0.07, inertia=1.0, seconds=4.0, **state):
    """A recalibration that saw a spin-up from standstill on a pack with this hidden resistance."""
    simulation = pack(robot, resistance=resistance)
    simulation.inertia = inertia * simulation.inertia
    watch = BatteryWatch(robot)
    guided = Recalibration(robot, watch, **state)
    for t, rpm, volts, amps, wanted in rows(simulation.run(1.0, 0)) + rows(simulation.run(seconds, setpoint)):
        watch.feed(t, rpm, volts, amps, wanted)
        guided.feed(t, rpm, wanted, volts)
    return guided


def test_recalibration_reads_the_spin_up_and_says_what_changed():
    guided = spun(big_heron(), 3500, before=Outlook(2.4, 3450.0, 0.71), before_ohm=0.050)
    assert guided.step == "shoot"
    spin = guided.spin
    assert spin.readback_rpm == pytest.approx(3500, rel=0.01)
    assert spin.spin_up_s == pytest.approx(spin.spin_up_expected_s, rel=0.3)
    assert spin.resistance_ohm == pytest.approx(0.07, rel=0.1)
    assert "2.40 m" in instruction(guided)
    assert "was 3450 rpm" in changed(guided)[-1]
    assert guided.learned(1, Outlook(2.4, 3520.0, 0.80)) == "shoot"
    assert "Shot 2" in instruction(guided)
    assert guided.learned(2, Outlook(2.4, 3550.0, 0.997)) == "done"
    words = " ".join(changed(guided))
    assert "3450 rpm and is now 3550 rpm: 100 rpm more (+2.9 %)" in words
    assert "Chance 71 % before, over 99 % now" in words
    assert "70 mΩ, 50 before" in words
    assert "its setpoint" in words


def test_what_stays_is_said_to_stay():
    guided = spun(big_heron(), 3500, before=Outlook(2.4, 3450.0, 0.71))
    guided.learned(1, Outlook(2.4, 3452.0, 0.72))
    guided.finish()
    assert any("stays there" in line for line in changed(guided))


def test_a_dragging_wheel_is_called_slow():
    """The profile knows a lighter wheel than the one that turns: spin-up takes longer than predicted."""
    assert any("slower than predicted" in line for line in changed(spun(big_heron(), 3500, inertia=2.5, seconds=8.0)))
    assert any(", as predicted" in line for line in changed(spun(big_heron(), 3500)))


def test_a_wheel_that_settles_beside_its_setpoint_is_not_waited_for():
    watch = BatteryWatch(big_heron())
    guided = Recalibration(big_heron(), watch)
    for k in range(400):
        rpm = 3300.0 * (1 - np.exp(-k * 0.02 / 0.3))
        guided.feed(k * 0.02, rpm, 3500.0, 12.0)
    assert guided.step == "shoot"
    assert guided.spin.readback_rpm == pytest.approx(3300, rel=0.005)
    assert any("5.7 % below its setpoint: look at" in line for line in changed(guided))


def test_an_open_loop_wheel_is_held_against_the_drive_at_this_voltage():
    robot = replace(big_heron(drive={"control": "power"}), setpoint=SetpointRange("%", 10, 100, 1))
    no_load_rpm = robot.drive.no_load_speed / robot.drive.reduction / RPM
    for share, said in ((1.0, "as the profile's drive should"), (0.9, "10 % below")):
        guided = Recalibration(robot, BatteryWatch(robot))
        for k in range(300):
            rpm = share * no_load_rpm * 0.6 * 11.8 / 12.0 * (1 - np.exp(-max(k - 25, 0) * 0.02 / 0.4))
            guided.feed(k * 0.02, rpm, 60.0 if k > 25 else 0.0, 11.8)
        assert guided.step == "shoot"
        assert guided.spin.spin_up_s == pytest.approx(0.4 * np.log(0.9 / 0.02), rel=0.2)
        assert any(said in line and "at 60 %" in line for line in changed(guided))


def test_a_thousand_lines_a_second_cost_no_more_than_fifty():
    guided = Recalibration(big_heron())
    for k in range(900):
        guided.feed(k * 0.001, 3400.0, 3500.0, 12.0)
    assert guided.step == "spin"
    assert len(guided._recent) < 60


def test_a_striker_goes_straight_to_its_shots():
    guided = Recalibration(otter(), before=Outlook(1.5, 34.0, 0.6), shots=1)
    assert guided.step == "shoot"
    assert guided.learned(0, Outlook(1.5, 34.0, 0.4)) == "shoot"
    assert guided.now is None
    guided.learned(1, Outlook(1.5, 34.0, 0.8))
    assert guided.step == "done"
    assert changed(guided) == ("At 1.50 m the setpoint was 34 mm, and stays there.", "Chance 60 % before, 80 % now.")


def test_nothing_measured_says_so():
    guided = Recalibration(big_heron())
    assert changed(guided) == ()
    guided.skip_spin()
    assert guided.step == "shoot"
    guided.finish()
    assert guided.step == "done"
    assert changed(guided) == ("Nothing was measured.",)
    assert instruction(guided) == "Done."
