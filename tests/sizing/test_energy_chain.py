"""The energy of one shot: the drive's shares against an integration of its equation of motion, and energy conserved."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy.integrate import solve_ivp

from fieldtune import load_robot
from fieldtune.robot.setpoints import SetpointRange
from fieldtune.sizing.energy_chain import EnergyStep, energy_chain

RPM = 0.10471975511965977


def kept(chain: tuple[EnergyStep, ...]) -> list[EnergyStep]:
    return [step for step in chain if not step.lost]


@pytest.mark.parametrize(("name", "quantity"), [("heron", 1500.0), ("otter", 33.0), ("crane", 380.0)])
def test_nothing_comes_from_nowhere(name: str, quantity: float) -> None:
    """Losses between two stages are what the second lacks of the first."""
    robot = load_robot(name)
    speed = float(robot.launcher.mechanism.exit_speed(quantity, robot.element))
    chain = energy_chain(robot, quantity, speed)
    left = chain[0].joules
    for step in chain[1:]:
        if step.lost:
            assert step.joules >= 0
            left -= step.joules
        else:
            assert left == pytest.approx(step.joules, rel=2e-3)
            left = step.joules
    assert chain[-1].joules == pytest.approx(0.5 * robot.element.mass * speed**2)


def test_the_recovery_by_an_integration_of_the_motors_equation() -> None:
    """Heron's two motors by hand: V = I R + k w each, shaft torque k_t (I - I_0), 5 % lost a gear stage.

    Data sheet 9.6 V, 6100 rpm, 0.125 N m, 9.5 A, 0.5 A without load; gears 22:33 and 20:28; 90 mohm at rest 10.4 V.
    """
    robot, volts, ohms, rpm = load_robot("heron"), 10.4, 0.09, 1500.0
    drive = robot.drive
    assert drive is not None
    assert robot.launcher.mechanism.turning_inertia is not None
    speed = float(robot.launcher.mechanism.exit_speed(rpm, robot.element))
    chain = {step.name: step.joules for step in energy_chain(robot, rpm, speed, volts, ohms)}
    winding = 9.6 / 9.5
    k_t, k_e = 0.125 / 9.0, (9.6 - 0.5 * winding) / (6100 * RPM)
    ratio, share, count = 33 / 22 * 28 / 20, 0.95**2, 2
    inertia = 2 * 180e-6 + count * drive.rotor_inertia * ratio**2
    radius, start = 0.044, rpm * RPM
    drop = robot.element.mass * speed * radius / inertia  # momentum: what leaves turned the wheels back

    def rates(_: float, y: list[float]) -> list[float]:
        amps = (volts - k_e * ratio * y[0]) / (winding + count * ohms)
        torque = count * ratio * share * k_t * (amps - 0.5)
        return [torque / inertia, volts * count * amps, count * amps**2 * winding, (count * amps) ** 2 * ohms]

    def back(_: float, y: list[float]) -> float:
        return y[0] - start

    back.terminal, back.direction = True, 1.0  # type: ignore[attr-defined]
    end = solve_ivp(rates, (0, 5), [start - drop, 0, 0, 0], events=back, rtol=1e-9, atol=1e-9).y[:, -1]
    assert chain["out of the wheels"] == pytest.approx(inertia * (start**2 - (start - drop) ** 2) / 2, rel=1e-6)
    for name, joules in zip(
        ("out of the battery", "heat in the motor windings", "heat in battery and wiring"), end[1:], strict=True
    ):
        assert chain[name] == pytest.approx(joules, rel=1e-4)


def test_without_a_drive_it_begins_at_the_wheels_and_without_inertia_not_at_all() -> None:
    robot = load_robot("heron")
    speed = float(robot.launcher.mechanism.exit_speed(1500.0, robot.element))
    power = replace(robot, setpoint=SetpointRange("%", 10, 100, 1))
    for begun in (replace(robot, drive=None), power):
        assert energy_chain(begun, 1500.0, speed)[0].name == "out of the wheels"
    light = replace(robot.launcher, mechanism=replace(robot.launcher.mechanism, wheel_inertia=None))
    assert energy_chain(replace(robot, launcher=light), 1500.0, speed) == ()


def test_as_much_again_goes_to_heat_where_the_wheels_rub() -> None:
    """The conveyor belt: what is brought up to a belt's speed by rubbing takes twice its own energy (any textbook)."""
    robot = load_robot("heron")
    wheel = replace(robot.launcher.mechanism, wheel_inertia=1.0, grip=1.0)  # so heavy that it hardly slows down
    robot = replace(robot, launcher=replace(robot.launcher, mechanism=wheel), drive=None)
    speed = float(wheel.exit_speed(1500.0, robot.element))
    chain = energy_chain(robot, 1500.0, speed)
    assert kept(chain)[0].joules == pytest.approx(2 * kept(chain)[-1].joules, rel=1e-3)
