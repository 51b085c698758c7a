"""Cocking a striker or an arm, its spring, and the stop, against integrations and published examples."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from robots import crane, otter
from scipy.integrate import quad

from fieldtune.battery.ceiling import ceiling, lowest_voltage
from fieldtune.physics.springs import helical_rate, shear_modulus
from fieldtune.robot.chemistry import CHEMISTRIES
from fieldtune.robot.drawn import cock_time, draws_by_torque
from fieldtune.robot.drivetrain import train
from fieldtune.robot.model import SpringWire
from fieldtune.sizing.size import size

LBF, INCH, KPSI = 4.4482216152605, 0.0254, 6.894757293168e6


def bare_spring(robot, rate, preload, longest):
    """The otter with another spring."""
    striker = replace(robot.launcher.mechanism, spring_rate=rate, preload=preload, draw_max=longest)
    return replace(robot, launcher=replace(robot.launcher, mechanism=striker))


def test_turning_the_crank_puts_in_the_springs_energy():
    """The torque over the turn, integrated, is the energy stored: no slip in the geometry."""
    way = otter().launcher.mechanism.stroke()
    striker = otter().launcher.mechanism

    def torque(turn):
        return float(np.interp(turn, way.turn, way.torque))

    work = quad(torque, 0.0, way.turn[-1], limit=400)[0]
    assert work == pytest.approx(0.5 * 900 * 0.06**2 + 6 * 0.06, rel=2e-4)
    assert way.turn[-1] == pytest.approx(math.pi)
    assert striker is not None


def test_work_of_a_published_spring():
    """McLean & Nelson (Schaum), ex. 17-4: F = 20 s lb over s from 2 to 5 in does 210 in lb."""
    robot = bare_spring(otter(), 20 * LBF / INCH, 20 * 2 * LBF, 3 * INCH)
    assert robot.launcher.mechanism.work(3 * INCH) == pytest.approx(210 * LBF * INCH, rel=1e-12)


def test_energy_of_a_large_helical_spring():
    """Bhavikatti, Strength of Materials, ex. 6.22: d 12, D 150 mm, n 10, G 80 GPa, 450 N: 6.144 N/mm, 16479.49 N mm."""
    rate = float(helical_rate(0.012, 0.150, 10, 80e9))
    assert rate == pytest.approx(6144.0, rel=1e-4)
    deflection = 450.0 / rate
    robot = bare_spring(otter(), rate, 0.0, deflection)
    assert robot.launcher.mechanism.force_max == pytest.approx(450.0)
    assert robot.launcher.mechanism.work(deflection) == pytest.approx(16.47949, rel=1e-4)


def test_wire_stress_of_a_published_music_wire():
    """Budynas & Nisbett, Shigley, ex. 10-1: music wire of 0.037 in, D 0.400 in, yields (146 kpsi) at 6.46 lbf."""
    wire = SpringWire(0.037 * INCH, 0.400 * INCH, 10.5, 12.5, None, "A228")
    rate = float(helical_rate(wire.wire_diameter, wire.coil_diameter, 10.5, shear_modulus("A228", wire.wire_diameter)))
    assert rate == pytest.approx(4.13 * LBF / INCH, rel=0.002)
    robot = bare_spring(otter(), rate, 0.0, 6.46 * LBF / rate)
    robot = replace(robot, launcher=replace(robot.launcher, mechanism=replace(robot.launcher.mechanism, wire=wire)))
    stress = robot.launcher.mechanism.stress
    assert stress.limit_mpa * 1e6 == pytest.approx(146 * KPSI, rel=0.003)
    assert stress.safety == pytest.approx(1.0, abs=0.005)
    figures = size(robot)
    assert figures.spring_stress_mpa == pytest.approx(stress.stress_mpa)
    assert figures.spring_safety == pytest.approx(stress.safety)


def test_wire_thicker_than_its_table_is_said():
    thick = SpringWire(0.008, 0.060, 8.0, None, None, "A228")
    notes = size(
        replace(otter(), launcher=replace(otter().launcher, mechanism=replace(otter().launcher.mechanism, wire=thick)))
    ).notes
    assert any("tabled from 0.1 mm to 6.5 mm" in note for note in notes)


def test_heavy_spring_moves_a_third_of_its_mass():
    """A third of the spring's mass moves with the striker (Rayleigh): exits are slower by just that."""
    robot = otter()
    light = replace(
        robot.launcher.mechanism, spring_mass=0.0, striker_mass=robot.launcher.mechanism.striker_mass + 0.010
    )
    moved = replace(robot, launcher=replace(robot.launcher, mechanism=light))
    assert size(moved).exit_speed_max_mps == pytest.approx(size(robot).exit_speed_max_mps)
    assert moved.launcher.mechanism.stop_energy(0.06, moved.element) == pytest.approx(
        robot.launcher.mechanism.stop_energy(0.06, robot.element)
    )


def test_stop_takes_what_the_collision_leaves():
    """Khurmi & Gupta, ex. 3.19: 50 kg at 3 m/s into 25 kg at 1.5, e 0.6: 2.2 and 3.1 m/s, 12 J lost.

    In the frame of the lighter body the heavy one strikes at 1.5 m/s and keeps 0.7, the light one leaves at 1.6.
    """
    striker = replace(otter().launcher.mechanism, striker_mass=50.0, spring_mass=0.0, restitution=0.6, efficiency=1.0)
    rate = 50.0 * 1.5**2 / 0.06**2
    striker = replace(striker, spring_rate=rate, preload=0.0)
    robot = replace(otter(), element=replace(otter().element, mass=25.0))
    robot = replace(robot, launcher=replace(robot.launcher, mechanism=striker))
    figures = size(robot)
    assert figures.exit_speed_max_mps == pytest.approx(3.1 - 1.5)
    assert figures.stop_energy_j == pytest.approx(0.5 * 50 * (2.2 - 1.5) ** 2)
    lost = figures.spring_energy_j - figures.stop_energy_j - figures.element_energy_j
    assert lost == pytest.approx(12.0)


def test_a_pushing_striker_keeps_the_elements_speed():
    pushing = replace(otter().launcher.mechanism, contact="push")
    robot = replace(otter(), launcher=replace(otter().launcher, mechanism=pushing))
    speed = size(robot).exit_speed_max_mps
    assert robot.launcher.mechanism.stop_energy(0.06, robot.element) == pytest.approx(0.5 * 0.190 * speed**2)


def test_time_to_cock_agrees_with_quadrature():
    robot = otter()
    supply = train(robot.drive, robot.battery.resistance)
    volts = float(CHEMISTRIES["nimh"].rest_voltage(0.5, 8))
    radius = 0.030
    resistance = 9.6 / 9.5 + 0.09
    k_t = 0.125 / 9.0
    k_e = (9.6 - 0.5 * 9.6 / 9.5) / robot.drive.no_load_speed
    gain = robot.drive.reduction * robot.drive.efficiency

    def slowness(turn):
        force = 900 * radius * (1 - math.cos(turn)) + 6
        amps = 0.5 + force * radius * math.sin(turn) / gain / k_t
        return robot.drive.reduction * k_e / (volts - amps * resistance)

    expected = quad(slowness, 0, math.pi)[0]
    assert float(cock_time(robot.launcher.mechanism.stroke(), supply, volts)) == pytest.approx(expected, rel=1e-4)


def test_the_ceiling_is_where_the_drive_just_turns_through():
    weak = crane(drive={"gears": ((12, 84), (12, 96))})
    top = ceiling(weak, 8.8)
    assert weak.launcher.mechanism.draw_min < top / 1000 < weak.launcher.mechanism.draw_max
    torque = float(train(weak.drive, 0.09).stall_torque(8.8))
    assert float(weak.launcher.mechanism.tip_force(top / 1000)) * 0.35 == pytest.approx(torque, rel=1e-3)
    assert lowest_voltage(weak, top, 0.09) == pytest.approx(8.8, rel=1e-3)


def test_draws_by_torque_is_blind_behind_the_worst_point():
    way = otter().launcher.mechanism.stroke()
    assert draws_by_torque(way, way.torque.max() * 1.0001) == pytest.approx(0.06)
    assert draws_by_torque(way, way.torque.max() * 0.999) < way.draw[way.worst]


def test_a_drive_too_weak_to_cock_is_said_in_one_line():
    figures = size(crane(drive={"gears": ((12, 36),)}))
    assert figures.torque_margin < 1
    assert figures.cock_time_s is None
    weak = [note for note in figures.notes if "too weak to cock" in note]
    assert len(weak) == 1
    assert "\n" not in weak[0]


def test_a_crank_too_short_for_the_stroke_is_said():
    figures = size(otter(drive={"crank_radius": 0.020}))
    assert any("crank_radius" in note and "40 mm" in note for note in figures.notes)


def test_a_longer_crank_has_to_hold_at_full_draw():
    figures = size(otter(drive={"crank_radius": 0.050}))
    end = math.acos(1 - 0.06 / 0.05)
    assert figures.holding_torque_nm == pytest.approx((900 * 0.06 + 6) * 0.05 * math.sin(end))
    assert size(otter()).holding_torque_nm == pytest.approx(0.0, abs=1e-6)


def test_counted_cycles_add_up():
    figures = size(otter(), cycles=400)
    assert figures.stop_energy_total_j == pytest.approx(400 * figures.stop_energy_j)
    assert size(otter()).stop_energy_total_j is None


def test_no_drive_leaves_the_spring_known():
    figures = size(otter(drive=None))
    assert figures.spring_energy_j == pytest.approx(1.98)
    assert (figures.reduction, figures.drive_torque_nm, figures.torque_margin, figures.cock_time_s) == (None,) * 4
    assert figures.choices == ()
    assert figures.as_json()["torque_margin"] is None


def test_an_arm_driven_by_a_torque_stores_nothing_in_a_spring():
    arm = replace(crane().launcher.mechanism, spring_rate=None, torque=8.0, preload=0.0)
    figures = size(replace(crane(), launcher=replace(crane().launcher, mechanism=arm)))
    assert figures.force_max_n is None
    assert figures.springs == ()
    assert figures.spring_energy_j == pytest.approx(8.0 * 0.30 / 0.35)
