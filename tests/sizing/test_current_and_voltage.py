"""What currents take: no-load losses, sag, the brown-out limit, capacity at high current."""

from __future__ import annotations

import pytest
from robots import heron

from fieldtune.battery.watch import BatteryWatch
from fieldtune.constants import RPM
from fieldtune.robot.chemistry import CHEMISTRIES
from fieldtune.robot.drivetrain import hold_current, train
from fieldtune.sizing.size import size


def test_a_torque_without_load_costs_current_and_speed():
    """Two motors share 30 mN m at the wheel over a reduction of 1.5 and one stage of 95 %; k_t is 0.125 N m / 9 A."""
    free, dragging = heron().drive, heron(drive={"no_load_torque": 0.03}).drive
    extra = 0.03 / (2 * 1.5 * 0.95) / (0.125 / 9.0)
    bare, loaded = train(free, 0.0), train(dragging, 0.0)
    assert loaded.motor.no_load_current == pytest.approx(0.5 + extra)
    lost = extra * 9.6 / 9.5 / (bare.motor.emf_constant * 1.5)
    assert float(bare.no_load_speed(9.6) - loaded.no_load_speed(9.6)) == pytest.approx(lost)
    assert hold_current(dragging, 10.0, 2000 * RPM) > hold_current(free, 10.0, 2000 * RPM)


def test_gears_that_nobody_measured_cost_something_to_turn():
    one, two = heron().drive, heron(drive={"gears": ((22, 33), (20, 20))}).drive
    assert hold_current(two, 10.0, 2000 * RPM) > hold_current(one, 10.0, 2000 * RPM)
    direct = heron(drive={"gears": ()}).drive
    volts = train(direct, 0.0).motor
    share = (volts.emf_constant * 2000 * RPM + 0.5 * volts.resistance) / 10.0
    assert hold_current(direct, 10.0, 2000 * RPM) == pytest.approx(2 * 0.5 * share)


def test_sag_is_said_and_held_against_the_brown_out_limit():
    """Eight full cells of 1.4 V; two motors of 9.6 V / 9.5 A behind 90 milliohms: I = V / (R / 2 + r)."""
    amps = 11.2 / (9.6 / 9.5 / 2 + 0.09)
    said = f"{amps:.0f} A at spin-up take {0.09 * amps:.1f} V"
    assert any(said in note for note in size(heron(), sweep=False).notes)
    high = [note for note in size(heron(battery={"brownout": 10.0}), sweep=False).notes if said in note]
    low = [note for note in size(heron(battery={"brownout": 7.0}), sweep=False).notes if said in note]
    assert "below the brown-out limit of 10 V" in high[0]
    assert "above the brown-out limit of 7 V" in low[0]


def test_the_watch_says_that_the_voltage_fell_too_far():
    watch = BatteryWatch(heron(battery={"brownout": 8.0}))
    for k in range(200):
        watch.feed(k * 0.02, 1500.0, 7.8 if 100 <= k < 105 else 10.0, 1.0, 1500.0)
    assert any("fell to 7.8 V, below the brown-out limit of 8 V" in words for words in watch.status().missing)
    watch.accept_change()
    assert not any("brown-out" in words for words in watch.status().missing)


def test_capacity_at_high_current_by_peukert():
    """7 A h at the rate of 20 hours last 20 h at 0.35 A; by I^k t = const an hour takes 7 / 20^(1 - 1/k) A (k 1.15)."""
    acid = CHEMISTRIES["lead-acid"]
    amps = 7.0 / 20 ** (1 - 1 / 1.15)
    assert amps * acid.current_factor(amps, 7.0) == pytest.approx(7.0)
    assert acid.current_factor(0.2, 7.0) == 1.0
    assert CHEMISTRIES["nimh"].current_factor(50.0, 3.0) == 1.0
