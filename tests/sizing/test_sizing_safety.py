"""Figures of what can hurt, and the cautions beside them."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from robots import crane, heron, otter

from fieldtune.constants import RPM
from fieldtune.robot.model import Element, Flywheel, SpringWire, Zone
from fieldtune.sizing.cautions import cautions, strained
from fieldtune.sizing.hazards import carry, full_power_rpm, hazards, rim


def with_wheel(**changes):
    """The heron with another wheel."""
    wheel = replace(heron().launcher.mechanism, **changes)
    return heron(launcher=replace(heron().launcher, mechanism=wheel))


def test_thin_rim_of_a_cast_iron_flywheel():
    """Khurmi & Gupta, Theory of Machines, ex. 16.14: 7 MPa, 7200 kg/m^3, 800 rpm: 31.18 m/s and 0.744 m across."""
    robot = with_wheel(wheel_diameter=0.744, wheel_density=7200.0)
    speed, stress = rim(robot.launcher.mechanism, 800.0)
    assert speed == pytest.approx(31.18, abs=0.03)
    assert stress == pytest.approx(7.0, rel=0.002)


def test_thin_rim_lies_above_any_solid_wheel_and_near_the_annular_disc():
    """Ugural & Fenster, ex. 8.4(c): 6900 rpm, 50 and 250 mm radii, 7800 kg/m^3, nu 0.3: 211.76 MPa at the bore."""
    robot = with_wheel(wheel_diameter=0.5, wheel_density=7800.0)
    printed = 211.76
    assert printed < rim(robot.launcher.mechanism, 6900.0)[1] < 1.25 * printed


def test_energy_and_its_density():
    at = hazards(heron(), 3000.0)
    energy = 0.5 * 0.04 * at.exit_speed_mps**2
    assert at.element_energy_j == pytest.approx(energy)
    assert at.element_density_j_per_cm2 == pytest.approx(energy / (math.pi * 2.9**2))
    assert at.wheel_energy_j == pytest.approx(0.5 * 2 * 180e-6 * (3000 * RPM) ** 2)
    assert at.kept_energy_j == at.wheel_energy_j


def test_spin_is_energy_too():
    spun = hazards(with_wheel(speed_ratio=0.5), 3000.0)
    v, w = spun.exit_speed_mps, spun.exit_speed_mps * (0.5 / 1.5) / 0.029
    assert spun.element_energy_j == pytest.approx(0.5 * 0.04 * v**2 + 0.5 * 0.4 * 0.04 * 0.029**2 * w**2)


def test_a_cocked_spring_keeps_its_energy():
    at = hazards(otter(), 60.0)
    assert at.spring_energy_j == pytest.approx(1.98)
    assert at.kept_energy_j == at.spring_energy_j
    assert at.wheel_energy_j is None
    assert at.rim_speed_mps is None


def test_an_arm_on_a_torque_keeps_nothing():
    arm = replace(crane().launcher.mechanism, spring_rate=None, torque=8.0)
    at = hazards(crane(launcher=replace(crane().launcher, mechanism=arm)))
    assert at.spring_energy_j is not None
    assert at.kept_energy_j is None


def test_smallest_faces():
    assert Element("disc", 0.1, diameter=0.09, height=0.012).smallest_face == pytest.approx(0.09 * 0.012)
    assert Element("block", 0.1, length=0.09, width=0.05, height=0.02).smallest_face == pytest.approx(0.05 * 0.02)


def test_carry_is_the_farthest_throw_without_air():
    """Closed form: from the floor v^2/g at 45 degrees."""
    floor_level = heron(launcher=replace(heron().launcher, exit_height=0.0))
    assert carry(floor_level, 10.0) == pytest.approx(100 / 9.80665)
    assert carry(heron(), 10.0) > carry(floor_level, 10.0)
    assert carry(otter(), 3.0) == pytest.approx(9 / (2 * 0.22 * 9.80665))
    assert carry(otter(floor=replace(otter().floor, slope=-0.4)), 3.0) is None


def test_a_ball_rolls_on_where_a_disc_has_stopped():
    """Slides to 5/7 of its speed within 12 v^2 / (49 mu g), then rolls v^2 / (2 c g) by 7/5 (closed form)."""
    ball = otter(element=Element("sphere", 0.05, diameter=0.06))
    mu, c, g, v = 0.22, otter().floor.rolling, 9.80665, 3.0
    slid, rolled = 12 * v**2 / (49 * mu * g), 7 / 5 * (5 / 7 * v) ** 2 / (2 * c * g)
    assert carry(ball, v) == pytest.approx(slid + rolled, rel=1e-6)
    assert carry(ball, v) > 5 * carry(otter(), v)


def test_topspin_drives_a_ball_on():
    """Sliding ends where a solid ball's speed and surface speed agree, from v and v/2 at 6 v/7 (closed form)."""
    mechanism = heron().launcher.mechanism
    topspin = replace(mechanism, speed_ratio=3.0)
    zone = Zone(0.0, (0.4, 0.5))
    flat = replace(heron().launcher, mechanism=topspin, exit_angle=0.0, exit_height=heron().element.lying_height)
    robot, plain = heron(launcher=flat, targets=(zone,)), replace(flat, mechanism=mechanism)
    v, c, g = 3.0, robot.floor.rolling, 9.80665
    rolled = 7 / 5 * (6 / 7 * v) ** 2 / (2 * c * g)
    slid = ((v**2) - (6 / 7 * v) ** 2) / (2 * robot.floor.friction * g)
    assert carry(robot, v) == pytest.approx(slid + rolled, rel=1e-3)
    assert carry(robot, v) > 1.3 * carry(heron(launcher=plain, targets=(zone,)), v)


def test_a_preloaded_spring_is_loaded_at_its_stop_too():
    """F^2 / (2 k)."""
    assert otter().launcher.mechanism.preload_energy == pytest.approx(6.0**2 / 1800)
    stiff = replace(otter().launcher, mechanism=replace(otter().launcher.mechanism, preload=40.0))
    assert any("at its stop" in line for line in cautions(otter(launcher=stiff)))
    assert hazards(heron()).preload_energy_j is None


@pytest.mark.parametrize("robot", [heron(), otter(), crane()])
def test_every_caution_is_one_line_and_calls_nothing_safe(robot):
    lines = cautions(robot)
    assert all("\n" not in line for line in lines)
    assert not re.search(r"\bsafe", " ".join(lines).replace("no number here means that it is safe", ""), re.IGNORECASE)
    assert "qualified supervision decide" in lines[-1]
    assert any("ANSI Z87.1" in line and "EN 166" in line for line in lines)
    assert any("clear" in line and re.search(r"\d", line) for line in lines)


def test_cautions_stand_beside_their_number():
    wheel, spring = " ".join(cautions(heron(), 3000.0)), " ".join(cautions(otter(), 60.0))
    assert "guards" in wheel
    assert "13.8 m/s" in wheel  # 0.088 m at 3000 rpm: 3000 / 60 * pi * 0.088
    assert "cocked spring" in spring
    assert "1.98 J" in spring
    assert "spring" not in wheel
    assert "guards" not in spring


def test_cautions_grow_with_the_setpoint():
    slow, fast = hazards(heron(), 1000.0), hazards(heron(), 4000.0)
    assert fast.element_energy_j == pytest.approx(16 * slow.element_energy_j)


def test_rim_stress_against_a_stated_limit():
    robot = with_wheel(wheel_density=1150.0, wheel_strength=5e6)
    at = hazards(robot, 4000.0)
    assert at.rim_stress_share == pytest.approx(at.rim_stress_mpa / 5.0)
    assert any("stated limit" in line for line in cautions(robot, 4000.0))
    assert hazards(heron(), 4000.0).rim_stress_mpa is None
    assert any("wheel_density" in line for line in cautions(heron()))


@pytest.mark.parametrize(
    ("top_rpm", "setpoint", "said"),
    [(3900, 4000, "do not run it so"), (4500, 4000, "go lower"), (4500, 1000, "Should the speed control fail")],
)
def test_a_wheel_near_its_stated_speed_is_warned_of(top_rpm, setpoint, said):
    """At the setpoint, or where a control that fails would take it: 4067 rpm without load at 9.6 V, more when full."""
    robot = with_wheel(wheel_top_speed=top_rpm * RPM)
    assert hazards(robot, setpoint).top_speed_share == pytest.approx(setpoint / top_rpm)
    (line,) = strained(robot, setpoint)
    assert said in line
    assert f"{setpoint} rpm" in line or "a full battery" in line
    assert not strained(with_wheel(wheel_top_speed=20000 * RPM), setpoint)
    assert not strained(with_wheel(), setpoint)


def test_a_faster_second_wheel_is_the_one_that_counts():
    robot = with_wheel(wheel_top_speed=4000 * RPM, wheel_density=1150.0, speed_ratio=1.5)
    assert hazards(robot, 3000.0).top_speed_share == pytest.approx(1.5 * 3000 / 4000)
    assert rim(robot.launcher.mechanism, 3000.0)[0] == pytest.approx(1.5 * 3000 * RPM * 0.044)


def test_full_power_is_the_drives_no_load_speed_on_a_full_battery():
    """The no-load speed goes with the voltage but for the drag's small share; 8 full cells give 11.2 V."""
    free = heron(drive={"no_load_current": 1e-9}).drive.no_load_speed / 1.5 / RPM
    wheel = heron().launcher.mechanism
    assert full_power_rpm(heron(drive={"no_load_current": 1e-9}), wheel) == pytest.approx(free * 11.2 / 9.6, rel=1e-6)
    assert full_power_rpm(heron(drive=None), wheel) is None
    assert full_power_rpm(heron(battery=None), wheel) == pytest.approx(heron().drive.no_load_speed / 1.5 / RPM)


def test_an_overstressed_spring_is_called_so():
    wire = SpringWire(0.0010, 0.012, 20.0, None, None, "A228")
    robot = otter(launcher=replace(otter().launcher, mechanism=replace(otter().launcher.mechanism, wire=wire)))
    assert hazards(robot).spring_safety < 1
    assert any("thicker wire" in line for line in cautions(robot))


def test_unknown_inertia_stays_unknown():
    at = hazards(heron(launcher=replace(heron().launcher, mechanism=Flywheel(2, 0.088, None, 1.0, 0.76))), 3000.0)
    assert at.wheel_energy_j is None
    assert at.as_json()["kept_energy_j"] is None
