"""A wheel's drive: ceiling, spin-up, drop, recovery, against integrations and published examples."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from robots import DRIVE, altered, heron
from scipy.integrate import solve_ivp
from scipy.signal import TransferFunction, step

from fieldtune.battery.ceiling import ceiling, lowest_voltage, wheel_times
from fieldtune.constants import RPM
from fieldtune.physics.motor import approach_time, poles, reflected_inertia
from fieldtune.robot.chemistry import CHEMISTRIES
from fieldtune.robot.drivetrain import back_share, hold_current, train
from fieldtune.robot.model import Battery, Flywheel, SetpointRange
from fieldtune.sizing.size import size

PACK_V = float(CHEMISTRIES["nimh"].rest_voltage(0.5, 8))


def integrated_speed(robot, volts, start, seconds):
    """Wheel speed (rad/s) over time from the equation of motion written out: motors, gears, sagging pack."""
    drive, ohm = robot.drive, robot.battery.resistance
    resistance = drive.nominal_voltage / drive.stall_current
    k_t = drive.stall_torque / (drive.stall_current - drive.no_load_current)
    k_e = (drive.nominal_voltage - drive.no_load_current * resistance) / drive.no_load_speed
    inertia = robot.turning_inertia

    def slope(_, w):
        emf = k_e * drive.reduction * w[0]
        # Terminal voltage U with I = n (U - emf) / R and U = V - I r, solved for U.
        terminal = (volts + drive.motors * ohm * emf / resistance) / (1 + drive.motors * ohm / resistance)
        amps = (terminal - emf) / resistance
        torque = drive.motors * drive.reduction * drive.efficiency * k_t * (amps - drive.no_load_current)
        return [torque / inertia]

    return solve_ivp(slope, (0, seconds), [start], rtol=1e-10, atol=1e-9, dense_output=True).sol


def test_spin_up_agrees_with_the_integrated_equation_of_motion():
    robot = heron()
    supply = train(robot.drive, robot.battery.resistance)
    goal = 3000.0
    times = wheel_times(robot, robot.launcher.mechanism, supply, PACK_V, goal)
    path = integrated_speed(robot, PACK_V, 0.0, 3.0)
    assert float(path(float(times.spin_up_s))[0]) == pytest.approx(0.99 * goal * RPM, rel=1e-6)


def test_recovery_agrees_with_the_integrated_equation_of_motion():
    robot = heron(element=replace(heron().element, mass=0.06))  # a drop of an eighth: back is within 1 %
    supply = train(robot.drive, robot.battery.resistance)
    goal = 3600.0
    after = robot.speed_kept * goal
    times = wheel_times(robot, robot.launcher.mechanism, supply, PACK_V, goal)
    path = integrated_speed(robot, PACK_V, after * RPM, 3.0)
    assert float(path(float(times.recovery_s))[0]) == pytest.approx(0.99 * goal * RPM, rel=1e-6)


def test_the_ceiling_is_exactly_what_is_back_between_shots():
    """Integrate: at the ceiling the wheel is back just as the pause ends."""
    heavy = Flywheel(2, 0.088, 6e-3, 1.0, 0.76)
    robot = heron(launcher=replace(heron().launcher, mechanism=heavy), element=replace(heron().element, mass=0.4))
    pause = 1.0
    top = ceiling(robot, PACK_V, between_s=pause)
    held = ceiling(robot, PACK_V, between_s=math.inf)
    assert top < 0.995 * held
    after = robot.speed_kept * top
    path = integrated_speed(robot, PACK_V, after * RPM, 5.0)
    assert 0.99 <= back_share(robot.speed_kept) < 1
    assert float(path(pause)[0]) / RPM == pytest.approx(back_share(robot.speed_kept) * top, rel=1e-6)


def test_the_ceiling_holding_only_is_the_speed_of_the_sagging_drive():
    robot = heron()
    path = integrated_speed(robot, PACK_V, 0.0, 20.0)
    assert ceiling(robot, PACK_V, between_s=math.inf) == pytest.approx(float(path(20.0)[0]) / RPM, rel=1e-6)


@pytest.mark.parametrize("volts", [9.8, 11.0, 12.6, 14.0])
def test_the_lowest_voltage_reads_the_ceiling_backwards(volts):
    robot = heron()
    top = ceiling(robot, volts, between_s=1.2)
    assert lowest_voltage(robot, top, 0.09, between_s=1.2) == pytest.approx(volts, rel=1e-9)


def test_a_fuller_battery_and_a_smaller_resistance_raise_the_ceiling():
    robot = heron()
    assert ceiling(robot, 13.0) > ceiling(robot, 11.0)
    assert ceiling(robot, 12.0, 0.02) > ceiling(robot, 12.0, 0.5)


def test_unknown_is_none_never_zero():
    assert ceiling(heron(drive=None)) is None
    assert ceiling(heron(battery=None)) is None
    assert ceiling(heron(battery={"resistance": None}), 12.0) is None
    assert ceiling(heron(battery={"resistance": None}), 12.0, 0.09) is not None
    assert ceiling(heron(), 0.0) is None
    assert ceiling(heron(), 60.0) is None
    assert ceiling(heron(), math.nan) is None


def test_without_an_inertia_only_the_holding_counts():
    plain = heron(launcher=replace(heron().launcher, mechanism=Flywheel(2, 0.088, None, 1.0, 0.76)))
    figures = size(plain)
    assert ceiling(plain, 12.0) == pytest.approx(ceiling(heron(), 12.0, between_s=math.inf))
    assert (figures.spin_up_s, figures.drop_rpm, figures.recovery_s, figures.shots_per_minute) == (None,) * 4
    assert any("wheel_inertia" in note for note in figures.notes)


def test_power_control_tops_out_at_what_the_program_accepts():
    robot = altered(heron(setpoint=SetpointRange("%", 10, 90, 1)), drive={"control": "power"})
    assert ceiling(robot, 12.0) == 90
    assert lowest_voltage(robot, 60.0, 0.09, battery_v=13.0) == pytest.approx(13.0 * 0.6)


def test_a_shot_too_heavy_for_the_wheels_is_unknown_not_zero():
    heavy = heron(element=replace(heron().element, mass=20.0))
    assert heavy.speed_kept == 0.0
    assert size(heavy).drop_rpm is None


def pushed_robot(wheels, each=6e-4, grip=0.8):
    """Wheels of 88 mm heavy enough for this grip (closed form: at most 1/(1 + m r^2 / sum I) for a pair)."""
    return heron(launcher=replace(heron().launcher, mechanism=Flywheel(wheels, 0.088, each, 1.0, grip)))


def test_a_pair_gives_away_the_momentum_that_the_element_gets():
    """Newton's third law at both rims, whatever slips: sum I dw = -m v r. Closed form."""
    robot, start = pushed_robot(2), 3000 * RPM
    mass, radius = robot.element.mass, 0.044
    exit_speed = 0.8 * start * radius
    left = start - mass * exit_speed * radius / (2 * 6e-4)
    assert exit_speed < left * radius  # it does not outrun the rims
    assert robot.speed_kept * 3000.0 * RPM == pytest.approx(left, rel=1e-9)
    assert float(robot.launcher.mechanism.shot_energy(3000.0, robot.element)) == pytest.approx(
        6e-4 * (start**2 - left**2), rel=1e-9
    )


def test_one_wheel_and_a_rail_share_push_and_spin():
    """Rolling along the rail at exit, w R = v: both push the centre, m v = J + F, and turn it, I v / R = (J - F) R, so
    that the wheel gives J = (m + I/R^2) v / 2. Solid ball, I = 2/5 m R^2. Closed form."""
    robot, start = pushed_robot(1), 3000 * RPM
    mass, radius = robot.element.mass, 0.044
    exit_speed = 0.8 * start * radius / 2
    left = start - 0.5 * 1.4 * mass * exit_speed * radius / 6e-4
    assert robot.speed_kept * 3000.0 * RPM == pytest.approx(left, rel=1e-9)


def test_wheels_follow_a_contact_stepped_in_time():
    """Coulomb friction of 0.5 at both rims, pressed with 150 N over 6 ms of contact without motor torque (invented):
    Euler steps of 1 us. The profile is told the grip that came of it; 1 % of the drop."""
    mass, radius, inertia = heron().element.mass, 0.044, 6e-4
    wheel, speed, start = 3000 * RPM, 0.0, 3000 * RPM
    for _ in range(6000):
        force = 0.5 * 150 if wheel * radius > speed else 0.0
        speed += 1e-6 * 2 * force / mass
        wheel -= 1e-6 * force * radius / inertia
    robot = pushed_robot(2, grip=speed / (start * radius))
    assert start - robot.speed_kept * 3000.0 * RPM == pytest.approx(start - wheel, rel=0.01)


def test_identified_motor_carries_its_load():
    """Fitzgerald, Kingsley & Umans, ex. 7.9: 50 V no load 2100 rpm 1.25 A, R 1.03; 48 V, 1700 rpm: about 275 W."""
    no_load_w, speed = 2100 * RPM, 1700 * RPM
    stall_current = 50 / 1.03
    constant = (50 - 1.25 * 1.03) / no_load_w
    drive = replace(
        DRIVE,
        motors=1,
        nominal_voltage=50.0,
        no_load_speed=no_load_w,
        stall_torque=constant * (stall_current - 1.25),
        stall_current=stall_current,
        no_load_current=1.25,
        gears=(),
    )
    torque = float(train(drive, 0.0).torque(48.0, speed))
    # The book takes the no-load loss of 61 W as constant and rounds the constant; a line takes it by speed (49 W here).
    assert torque * speed == pytest.approx(275.0, rel=0.03)


def test_sag_of_a_cell_under_a_standing_motor():
    """Beiser, Basic Mathematics for Electricity, problem 6.7: 1.5 V, 0.05 ohm, 0.4 ohm: 3.33 A and 1.333 V."""
    drive = replace(DRIVE, motors=1, nominal_voltage=1.5, stall_current=1.5 / 0.4, no_load_current=0.01)
    amps = float(train(drive, 0.05).current(1.5, 0.0))
    assert amps == pytest.approx(3.333, abs=0.001)
    assert 1.5 - 0.05 * amps == pytest.approx(1.333, abs=0.001)


def test_chopped_motor_takes_the_mean_voltage():
    """Jagannathan, Power Electronics, ex. 7.4: 230 V on 10 of 25 ms, R 2, 1400 rpm, k 0.5: 9.35 A, 4.674 N m.

    Turned round: the current that holds a wheel is the motors' own times the share of time the chopper is on.
    """
    speed = 1400 * RPM
    drive = replace(
        DRIVE,
        motors=1,
        nominal_voltage=230.0,
        no_load_speed=(230 - 9.35 * 2) / 0.5,
        stall_current=115.0,
        stall_torque=0.5 * (115 - 9.35),
        no_load_current=9.35,
        gears=(),
    )
    assert hold_current(drive, 230.0, speed) == pytest.approx(9.35 * 10 / 25, rel=0.001)


def test_settling_of_a_published_motor():
    """University of Michigan, Control Tutorials, DC motor speed: J 0.01, b 0.1, K 0.01, R 1, L 0.5 at 1 V.

    0.1 rad/s, 2 % settling 2.07 s. Its slow pole, the only one that sizing keeps, must carry nearly all of that.
    """
    t, y = step(TransferFunction([0.01], [0.005, 0.06, 0.1001]), T=np.linspace(0, 6, 60001))
    final = 0.01 / 0.1001
    settled = t[np.nonzero(np.abs(y / final - 1) > 0.02)[0][-1]]
    assert final == pytest.approx(0.0999001, abs=1e-7)
    assert settled == pytest.approx(2.07, abs=0.01)
    slow, fast = (-1 / pole.real for pole in poles(0.01, 0.1, 0.01, 1.0, 0.5))
    assert (1 / slow, 1 / fast) == pytest.approx((2.002501, 9.997499), abs=1e-6)
    first_order = float(approach_time(final, slow, 0.0, 0.98 * final))
    assert first_order < settled < first_order + 2 * fast


def test_time_constant_refers_the_motors_through_the_gears():
    """A reduction of two and the gears' loss act on the time constant as on the inertia that the motor feels."""
    one, two = replace(DRIVE, gears=()), replace(DRIVE, gears=((10, 20),))
    plain, geared = (float(train(d, 0.0).time_constant(1e-3)) for d in (one, two))
    felt = float(reflected_inertia(1e-3, two.reduction, two.efficiency))
    assert geared == pytest.approx(plain * felt / 1e-3)


def test_wheels_of_a_pair_count_by_the_square_of_their_speed():
    assert Flywheel(2, 0.1, 2e-4, 0.5, 0.9).turning_inertia == pytest.approx(2.5e-4)
    assert Flywheel(1, 0.1, 2e-4, 0.5, 0.9).turning_inertia == pytest.approx(2e-4)


def test_a_fast_second_wheel_lowers_the_ceiling():
    spun = heron(launcher=replace(heron().launcher, mechanism=Flywheel(2, 0.088, 180e-6, 1.25, 0.76)))
    assert ceiling(spun, 12.0, between_s=math.inf) == pytest.approx(ceiling(heron(), 12.0, between_s=math.inf) / 1.25)


def test_size_of_a_wheel_launcher_hangs_together():
    figures = size(heron())
    assert figures.ceiling_rpm_low < figures.ceiling_rpm_full
    assert figures.needed_rpm.near < figures.needed_rpm.far
    assert figures.headroom_low == pytest.approx(figures.ceiling_rpm_low / figures.needed_rpm.far - 1)
    assert figures.shots_per_minute == pytest.approx(60 / figures.recovery_s)
    assert figures.farthest_m > figures.far_m
    json = figures.as_json()
    assert json["needed_rpm"] == {"near": figures.needed_rpm.near, "far": figures.needed_rpm.far}
    assert sum(choice["best"] for choice in json["choices"]) == 1
    assert sum(choice["present"] for choice in json["choices"]) == 1


def test_too_weak_a_drive_says_what_to_change():
    slow = heron(drive={"gears": ((12, 60),)})
    figures = size(slow)
    assert figures.ceiling_rpm_low < figures.needed_rpm.far
    assert figures.spin_up_s is None
    assert any("change the gears" in note for note in figures.notes)


def test_a_battery_without_chemistry_is_named():
    figures = size(heron(battery=Battery(None, 10, 0.09)))
    assert figures.ceiling_rpm_full is None
    assert any("chemistry" in note for note in figures.notes)
