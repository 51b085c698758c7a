"""Springs, impacts, arms, wheels, motors and batteries against worked examples."""

import math

import numpy as np
import pytest

from fieldtune.physics import flywheel, motor, springs
from fieldtune.robot.chemistry import CHEMISTRIES
from fieldtune.robot.flywheel import Flywheel

INCH, POUND_FORCE, PSI = 0.0254, 4.4482216152605, 6894.757293168


def test_helical_spring_example():
    """Budynas & Nisbett, Shigley 10th ed., Ex. 10-1: music wire No. 16, D = 0.400 in, 12.5 turns, squared ends.

    The stress limits the force at 0.45 of the strength; printed digits. Their strength is 201 kpsi in^m.
    """
    wire, mean, turns = 0.037 * INCH, 0.400 * INCH, 10.5
    rate = springs.helical_rate(wire, mean, turns, 11.85e6 * PSI)
    assert mean / wire == pytest.approx(10.8, abs=0.05)
    assert float(springs.bergstrasser_factor(mean / wire)) == pytest.approx(1.124, abs=5e-4)
    assert float(rate) / POUND_FORCE * INCH == pytest.approx(4.13, abs=0.005)
    strength = float(springs.tensile_strength("A228", wire))
    # 2211 MPa mm^m and 201 kpsi in^m are the same constant, rounded each in its own unit: 0.3 %.
    assert strength / PSI / 1e3 == pytest.approx(324, rel=3e-3)
    assert float(springs.shear_yield("A228", wire)) / PSI / 1e3 == pytest.approx(146, rel=3e-3)
    force = 145.9e3 * PSI / float(springs.shear_stress(1.0, wire, mean))
    assert force / POUND_FORCE == pytest.approx(6.46, abs=0.01)
    assert force / float(rate) / INCH == pytest.approx(1.56, abs=0.005)


def test_spring_energy_example():
    """Bhavikatti, Strength of Materials, Ex. 6.22: d 12, D 150 mm, 10 turns, 80 GPa, 450 N; last printed digit."""
    rate = float(springs.helical_rate(0.012, 0.150, 10, 80e9))
    assert rate == pytest.approx(6144.0, abs=0.5)
    draw = 450 / rate
    assert draw * 1e3 == pytest.approx(73.24, abs=0.005)
    assert float(springs.spring_energy(rate, draw)) * 1e3 == pytest.approx(16479.49, abs=0.005)
    assert float(springs.shear_stress(450, 0.012, 0.150, factor=1.0)) / 1e6 == pytest.approx(99.47, abs=0.005)


def test_spring_work_with_preload():
    """McLean, Schaum's, Ex. 17-4: F = 20 s lb from 2 to 5 in: 210 in lb. As a preloaded spring: 40 lb, 3 in of draw."""
    assert float(springs.spring_energy(20.0, 3.0, 40.0)) == pytest.approx(210.0, rel=1e-14)


@pytest.mark.parametrize(
    ("material", "millimetres", "gigapascals", "megapascals"),
    [
        ("A228", 0.5, 82.7, 2211 / 0.5**0.145),
        ("A228", 1.0, 81.7, 2211.0),
        ("A228", 2.0, 81.0, 2211 / 2**0.145),
        ("A228", 4.0, 80.0, 2211 / 4**0.145),
        ("A227", 0.7, 80.7, 1783 / 0.7**0.190),
        ("A229", 2.0, 77.2, 1855 / 2**0.187),
        ("A232", 2.0, 77.2, 2005 / 2**0.168),
        ("A401", 2.0, 77.2, 1974 / 2**0.108),
        ("A313", 2.0, 69.0, 1867 / 2**0.146),
    ],
)
def test_wire_tables(material, millimetres, gigapascals, megapascals):
    """Shigley, tables 10-4 and 10-5."""
    assert float(springs.shear_modulus(material, millimetres / 1e3)) == gigapascals * 1e9
    assert float(springs.tensile_strength(material, millimetres / 1e3)) == pytest.approx(megapascals * 1e6, rel=1e-12)


def test_impact_example():
    """Khurmi & Gupta, Theory of Machines, Ex. 3.19: 50 kg at 3, 25 kg at 1.5 m/s, e = 0, 1, 0.6 (exact)."""
    hit = springs.collide(50, 3.0, 25, 1.5, [0.0, 1.0, 0.6])
    np.testing.assert_allclose(hit.first, [2.5, 2.0, 2.2], rtol=1e-14)
    np.testing.assert_allclose(hit.second, [2.5, 3.5, 3.1], rtol=1e-14)
    np.testing.assert_allclose(hit.loss, [18.75, 0.0, 12.0], atol=1e-12)


def test_striking_and_pushing_keep_the_energy():
    """What the element has, what stays in the striker and what the impact loses add up to what the spring gave."""
    given = np.array([0.5, 2.0])
    hit = springs.strike(given, 0.2, 0.05, 0.6)
    loss = springs.collide(0.2, np.sqrt(2 * given / 0.2), 0.05, 0.0, 0.6).loss
    np.testing.assert_allclose(0.5 * 0.05 * hit.exit_speed**2 + hit.energy_left + loss, given, rtol=1e-13)
    shared = springs.push(given, 0.2, 0.05)
    np.testing.assert_allclose(0.5 * 0.05 * shared.exit_speed**2 + shared.energy_left, given, rtol=1e-13)
    assert float(springs.strike(-1.0, 0.2, 0.05, 0.6).exit_speed) == 0.0


def test_equal_masses_swap_speeds():
    """Elastic impact of equal masses (closed form): the striker stands still, the element takes all."""
    hit = springs.strike(0.5 * 0.1 * 4.0**2, 0.1, 0.1, 1.0)
    assert float(hit.exit_speed) == pytest.approx(4.0, rel=1e-14)
    assert float(hit.energy_left) == pytest.approx(0.0, abs=1e-28)


ARM = {"arm_length": 0.3, "arm_inertia": 0.004, "element_mass": 0.06, "release_angle": math.radians(40)}


def test_arm_energy_balance():
    """Work in = kinetic energy of arm and element + lift of the element, by the definition of each."""
    draw = np.linspace(0.02, 0.3, 8)
    speed = springs.exit_speed(draw, **ARM, spring_rate=400.0, torque=None, preload=5.0, efficiency=0.8)
    work = 0.8 * (200 * draw**2 + 5 * draw)
    up = math.radians(40)
    rise = 0.3 * (math.sin(up) - np.sin(up - draw / 0.3))
    moving = 0.5 * 0.004 * (speed / 0.3) ** 2 + 0.5 * 0.06 * speed**2
    np.testing.assert_allclose(moving + 0.06 * 9.80665 * rise, work, rtol=1e-12)


def test_arm_by_torque_and_too_weak():
    driven = springs.exit_speed([0.1, 0.3], **ARM, spring_rate=None, torque=3.0)
    assert driven[1] > driven[0] > 0
    assert float(springs.exit_speed(0.2, **ARM, spring_rate=None, torque=0.05)) == 0.0
    assert float(springs.exit_speed(0.0, **ARM, spring_rate=400.0, torque=None)) == 0.0
    with pytest.raises(ValueError, match="spring_rate or torque"):
        springs.exit_speed(0.1, **ARM, spring_rate=None, torque=None)


def test_arm_of_its_own_weight_is_slower():
    bare = springs.exit_speed(0.2, **ARM, spring_rate=400.0, torque=None)
    heavy = springs.exit_speed(0.2, **ARM, spring_rate=400.0, torque=None, arm_moment=0.02)
    assert heavy < bare


def test_rim_stress():
    """Khurmi & Gupta, Ex. 16.14: 7 MPa, 7200 kg/m^3, 800 rpm: 31.18 m/s, 0.744 m."""
    rim = math.sqrt(7e6 / 7200)
    assert rim == pytest.approx(31.18, abs=0.005)
    assert float(flywheel.rim_stress_thin(7200, rim)) == pytest.approx(7e6, rel=1e-12)
    assert 2 * rim / (800 * 2 * math.pi / 60) == pytest.approx(0.744, abs=5e-4)


def test_exit_of_wheels():
    """Rolling between two rims: the centre moves at their mean, and both contacts match (closed form)."""
    first, second = 200 * 0.044, 200 * 0.8 * 0.044
    speed = float(flywheel.exit_speed(200.0, 0.088, speed_ratio=0.8))
    turning = Flywheel(2, 0.088, None, 0.8, 1.0).spin_ratio * speed
    assert speed + turning == pytest.approx(first, rel=1e-14)
    assert speed - turning == pytest.approx(second, rel=1e-14)
    assert turning > 0
    one = float(flywheel.exit_speed(200.0, 0.088, wheels=1))
    assert one == pytest.approx(first / 2)
    assert Flywheel(1, 0.088, None, 1.0, 1.0).spin_ratio * one == pytest.approx(one)


def test_geared_acceleration():
    """Khurmi & Gupta, Ex. 3.13: 75 kg hanging from a drum of 0.3 m speeds up 100 kg m^2 on its shaft and 5 kg m^2 on a
    shaft six times as fast: 0.231 m/s^2, with 90 % efficiency of the gear 0.216 (g = 9.81, printed digits).
    """
    for efficiency, expected in ((1.0, 0.231), (0.9, 0.216)):
        felt = 100 + float(motor.reflected_inertia(5.0, 1 / 6, efficiency)) + 75 * 0.3**2
        assert 75 * 9.81 * 0.3**2 / felt == pytest.approx(expected, abs=5e-4)


def test_motor_identification():
    """Fitzgerald, Kingsley & Umans, Ex. 7.9: 50 V, 2100 rpm, 1.25 A, 1.03 ohm: 0.22 V s/rad, 61 W; 275 W at 48 V,
    1700 rpm.

    Their 275 W takes the constant rounded to 0.22; unrounded it is 267 W.
    """
    rpm = 2 * math.pi / 60
    machine = motor.identified(50.0, 2100 * rpm, 1.25, 1.03)
    assert machine.emf_constant == pytest.approx(0.22151, abs=5e-6)
    loss = machine.emf_constant * 2100 * rpm * 1.25
    assert loss == pytest.approx(60.89, abs=0.005)
    amps = float(motor.current(machine, 48.0, 1700 * rpm))
    assert machine.emf_constant * 1700 * rpm * amps - loss == pytest.approx(267, abs=0.5)
    rounded = motor.Motor(1.03, 0.22, 0.22, 1.25)
    amps = float(motor.current(rounded, 48.0, 1700 * rpm))
    assert 0.22 * 1700 * rpm * amps - 61 == pytest.approx(275, abs=1)


def test_chopped_supply():
    """Jagannathan, Power Electronics, Ex. 7.4: 230 V on 10 of 25 ms, 2 ohm, 1400 rpm, 0.5 V s/rad: 9.35 A, 4.674 N
    m.
    """
    machine = motor.Motor(2.0, 0.5, 0.5, 0.0)
    amps = float(motor.current(machine, motor.mean_voltage(230.0, 10 / 25), 1400 * 2 * math.pi / 60))
    assert amps == pytest.approx(9.35, abs=0.005)
    assert float(motor.torque(machine, 92.0, 1400 * 2 * math.pi / 60)) == pytest.approx(4.674, abs=1e-3)


def test_spin_up_dynamics():
    """Michigan CTMS, DC motor speed: J 0.01, b 0.1, K 0.01, R 1, L 0.5: poles -2.002501, -9.997499; steady
    0.0999001.
    """
    slow, fast = motor.poles(0.01, 0.1, 0.01, 1.0, 0.5)
    assert slow == pytest.approx(-2.002501, abs=5e-7)
    assert fast == pytest.approx(-9.997499, abs=5e-7)
    time = np.linspace(0, 4, 400001)
    steady = 0.01 / (0.1 * 1.0 + 0.01**2)
    response = 1 + (fast.real * np.exp(slow.real * time) - slow.real * np.exp(fast.real * time)) / (slow - fast).real
    assert steady == pytest.approx(0.0999001, abs=5e-8)
    assert time[np.flatnonzero(response < 0.98)[-1]] == pytest.approx(2.07, abs=0.01)


def test_motor_line_ends_where_the_data_sheet_says():
    machine = motor.motor(9.6, 638.8, 0.125, 9.5, 0.5)
    assert float(motor.torque(machine, 9.6, 0.0)) == pytest.approx(0.125, rel=1e-12)
    assert float(motor.current(machine, 9.6, 638.8)) == pytest.approx(0.5, rel=1e-9)
    assert float(motor.speed(machine, 9.6)) == pytest.approx(638.8, rel=1e-12)
    assert float(motor.torque(machine, 9.6, 638.8)) == pytest.approx(0.0, abs=1e-12)
    assert float(motor.torque(machine, 7.2, motor.speed(machine, 7.2, 0.05))) == pytest.approx(0.05, rel=1e-9)


def test_spin_up_is_the_integral_of_the_torque_line():
    """Newton's law with the motor's torque, stepped finely, against the closed form; Euler's error is some 1e-4."""
    machine, inertia, n = motor.on_supply(motor.motor(9.6, 638.8, 0.125, 9.5, 0.5), 0.09, 2), 4e-4, 1.5
    tau = float(motor.time_constant(machine, inertia, n, 0.9, 2))
    free = float(motor.speed(machine, 9.6)) / n
    wheel, step = 0.0, tau / 20000
    for _ in range(20000):
        wheel += step * 2 * n * 0.9 * float(motor.torque(machine, 9.6, wheel * n)) / inertia
    assert wheel == pytest.approx(float(motor.approach(free, tau, 0.0, tau)), rel=2e-4)
    assert float(motor.approach_time(free, tau, 0.0, wheel)) == pytest.approx(tau, rel=1e-3)
    np.testing.assert_array_equal(motor.approach_time(free, tau, 50.0, [40.0, free, 2 * free]), [0.0, np.inf, np.inf])


REST_VOLTS = {
    # Density of the acid plus 0.845 V (common practice), as volts of a battery of six cells.
    "lead-acid": [(volts / 6, charge) for volts, charge in
                  ((12.66, 1.0), (12.42, 0.75), (12.21, 0.5), (12.00, 0.25), (11.79, 0.0))],
    # Means of five cells in J. Electrochem. Soc.: Chen 2020 (3.485, 3.751, 4.042 V at 20, 50, 80 %), Kim 2011 (3.372,
    # 3.685, 3.980), Mohtat 2020 (3.585, 3.716, 3.971), Ecker 2015 (3.587, 3.787, 3.987), Ramadass 2004 (3.706, 3.827,
    # 3.998); computed with PyBaMM.
    "li-ion": [(3.422, 0.1), (3.547, 0.2), (3.635, 0.3), (3.699, 0.4), (3.753, 0.5), (3.819, 0.6), (3.903, 0.7),
               (3.996, 0.8), (4.083, 0.9), (4.2, 1.0)],
    # Prada et al., J. Electrochem. Soc. 160 (2013) A616; computed with PyBaMM.
    "lifepo4": [(2.978, 0.1), (3.168, 0.2), (3.206, 0.3), (3.252, 0.4), (3.266, 0.5), (3.269, 0.6), (3.274, 0.7),
                (3.310, 0.8), (3.314, 0.9)],
    # ADVISOR, National Renewable Energy Laboratory, 6.5 Ah module of six cells (from memory).
    "nimh": [(volts / 6, charge) for volts, charge in
             ((7.4047, 0.1), (7.5106, 0.2), (7.5873, 0.3), (7.6459, 0.4), (7.6909, 0.5), (7.7294, 0.6), (7.7666, 0.7),
              (7.8078, 0.8), (7.9143, 0.9), (8.3645, 1.0))],
}  # fmt: skip


@pytest.mark.parametrize("chemistry", REST_VOLTS)
def test_rest_voltage_of_published_cells(chemistry):
    """20 mV a cell; 5 for lead-acid, whose table is in steps of charge between the published ones."""
    volts, charge = np.array(REST_VOLTS[chemistry]).T
    slack = 0.005 if chemistry == "lead-acid" else 0.02
    np.testing.assert_allclose(CHEMISTRIES[chemistry].rest_voltage(charge), volts, rtol=0, atol=slack)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_charge_is_the_inverse_of_rest_voltage(chemistry):
    charge = np.linspace(0, 1, 41)
    volts = CHEMISTRIES[chemistry].rest_voltage(charge, 6)
    assert np.all(np.diff(volts) > 0)
    np.testing.assert_allclose(CHEMISTRIES[chemistry].charge_at(volts, 6), charge, atol=1e-12)
    np.testing.assert_array_equal(CHEMISTRIES[chemistry].charge_at([0.1, 9.0]), [0.0, 1.0])
