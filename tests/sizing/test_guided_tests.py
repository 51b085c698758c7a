"""The guided tests: two pulses for the resistance, and recalibration after a battery change."""

from __future__ import annotations

import numpy as np
import pytest
from battery_bench import Simulation, Truth
from sizing_robots import big_heron, otter

from fieldtune.physics.battery import open_circuit_voltage, two_pulse_resistance
from fieldtune.sizing.recalibration import Recalibration
from fieldtune.sizing.shot import speed_kept
from fieldtune.sizing.two_pulse import TwoPulse


def pack(robot, resistance=0.05, charge=0.6, seed=1):
    """A simulated robot at rest on a pack with this hidden resistance."""
    truth = Truth(np.array([resistance]), np.array([charge]), np.array([10800.0]), np.zeros(1))
    return Simulation(
        robot, truth, lambda c: open_circuit_voltage("nimh", c, 10), speed_kept(robot), np.random.default_rng(seed)
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
    assert f"{1000 * guided.resistance_ohm:.0f} mohm" in guided.instruction


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


def test_recalibration_reads_the_spin_up_and_says_what_changed():
    robot = big_heron()
    simulation = pack(robot, resistance=0.07)
    guided = Recalibration(robot, 3500.0)
    assert "3500 rpm" in guided.instruction
    for t, rpm, volts, amps, setpoint in rows(simulation.run(1.0, 0)) + rows(simulation.run(4.0, 3500)):
        guided.feed(t, rpm, volts, amps, setpoint)
    assert guided.step == "shoot"
    spin = guided.spin
    assert spin.readback == pytest.approx(3500, rel=0.01)
    assert spin.spin_up_s == pytest.approx(spin.spin_up_expected_s, rel=0.3)
    assert spin.resistance_ohm == pytest.approx(0.07, rel=0.1)
    guided.suggest(2.4)
    assert "2.40 m" in guided.instruction
    guided.shot(2.4, 6.00, 6.12)
    assert guided.step == "shoot"
    guided.shot(2.4, 6.12, 6.18)
    assert guided.step == "done"
    words = " | ".join(guided.changed())
    assert "exit speed 3.0% higher" in words
    assert "by 2 shots" in words
    assert "70 mohm" in words


def test_a_dragging_wheel_is_called_slow():
    """The profile knows a lighter wheel than the one that turns: spin-up takes longer than foretold."""
    robot = big_heron()
    simulation = pack(robot)
    simulation.inertia = 2.5 * simulation.inertia
    guided = Recalibration(robot, 3500.0)
    for t, rpm, volts, amps, setpoint in rows(simulation.run(1.0, 0)) + rows(simulation.run(8.0, 3500)):
        guided.feed(t, rpm, volts, amps, setpoint)
    assert any("slower than foretold" in line for line in guided.changed())


def test_a_striker_goes_straight_to_its_shots():
    guided = Recalibration(otter(), 40.0, shots=1)
    assert guided.step == "shoot"
    guided.shot(1.5, 3.0, 3.001)
    assert guided.step == "done"
    assert guided.changed() == ("exit speed as before, by one shot",)


def test_nothing_measured_says_so():
    guided = Recalibration(big_heron(), 3000.0)
    assert guided.changed() == ("nothing measured yet",)
    guided.skip_spin()
    assert guided.step == "shoot"
    guided.finish()
    assert guided.step == "done"
