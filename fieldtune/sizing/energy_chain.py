"""Where the energy of one shot goes: from the battery (or the spring) to the element in flight, as a chain of losses.

For a wheel the shot is paid afterwards: what it took is put back at full power, and battery, wiring, windings, motors
and gears take their shares on the way. Powers are those of the torque-speed line (``physics.motor``), integrated over
the wheel's way back to its setpoint; what a shot takes follows from momentum (``physics.flywheel``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.integrate import simpson

from fieldtune.battery.resistance import usual_voltage
from fieldtune.constants import RPM
from fieldtune.frozen import frozen
from fieldtune.robot.drivetrain import train
from fieldtune.robot.exit_speed import spin_ratio

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.drivetrain import Train
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot

_POINTS = 201


@frozen
class EnergyStep:
    """One step: ``joules`` that are there (a stage) or go away (``lost``)."""

    name: str
    joules: float
    lost: bool


def energy_chain(
    robot: Robot,
    quantity: float,
    exit_speed: float,
    battery_v: float | None = None,
    resistance_ohm: float | None = None,
) -> tuple[EnergyStep, ...]:
    """The chain of one shot at a drive quantity (wheel rpm, mm of draw) that leaves at ``exit_speed`` (m/s).

    ``battery_v``: at rest, a half-charged battery's where None; ``resistance_ohm``: of battery and wiring, the
    profile's where None. Begins at the wheels where the drive is unknown or open loop, and is empty where not even the
    wheels' inertia is known.
    """
    ohms = resistance_ohm if resistance_ohm is not None else (robot.battery.resistance if robot.battery else None)
    volts = battery_v if battery_v is not None else usual_voltage(robot)
    return robot.launcher.mechanism.by_motion(
        lambda wheel: _of_wheel(robot, wheel, quantity, exit_speed, volts, ohms),
        lambda drawn: _of_spring(robot, drawn, quantity / 1000, exit_speed),
    )


def _element(robot: Robot, exit_speed: float) -> tuple[float, float]:
    """Energy of the element's flight and of its spin, J."""
    whole = float(robot.element.energy(spin_ratio(robot), exit_speed))
    flight = 0.5 * robot.element.mass * exit_speed**2
    return flight, max(whole - flight, 0.0)


def _to_the_element(robot: Robot, left: float, lost: str, exit_speed: float) -> list[EnergyStep]:
    flight, spin = _element(robot, exit_speed)
    rest = left - flight - spin
    found = [EnergyStep(lost if rest >= 0 else "more than the profile can explain: check it", rest, True)]
    if spin > 0.001 * flight:
        found.append(EnergyStep("spin of the element", spin, True))
    return [*found, EnergyStep("flight of the element", flight, False)]


def _of_wheel(
    robot: Robot, wheel: Flywheel, rpm: float, exit_speed: float, volts: float | None, ohms: float | None
) -> tuple[EnergyStep, ...]:
    supply = None
    if robot.drive is not None and ohms is not None and robot.setpoint.scale.is_speed:
        supply = train(robot.drive, ohms)
    shot = wheel.shot(rpm, robot.element, 0.0 if supply is None else supply.rotors, exit_speed)
    if shot is None:
        return ()
    taken = float(shot.energy)
    found = [EnergyStep("out of the wheels", taken, False)]
    found += _to_the_element(robot, taken, "rubbing while the wheels grip", exit_speed)
    if supply is None or volts is None or ohms is None or wheel.turning_inertia is None:
        return tuple(found)
    drop = float(wheel.drop(shot))
    paid = _recovery(supply, wheel.turning_inertia, rpm * RPM, drop, volts, ohms, wheel.fastest_driven(supply.motors))
    if paid is None:
        return tuple(found)
    scale = taken / paid["wheels"]  # an unequal pair is followed as one mean wheel
    names = {
        "heat in battery and wiring": paid["battery"],
        "heat in the motor windings": paid["windings"],
        "friction in the motors": paid["motors"],
        "friction in the gears": paid["gears"],
    }
    losses = [EnergyStep(name, scale * joules, True) for name, joules in names.items()]
    first = EnergyStep("out of the battery", scale * paid["all"], False)
    return (first, *losses, *found)


def _recovery(
    supply: Train, inertia: float, omega: float, drop: float, volts: float, ohms: float, fastest: float
) -> dict[str, float] | None:
    """Joules while the wheel comes back from a drop (rad/s) at full power; None where it never does."""
    speed = np.linspace(max(omega - drop, 0.0), omega, _POINTS)
    turning = speed * fastest
    torque = supply.torque(volts, turning)
    if not torque[-1] > 0.01 * torque[0]:
        return None
    m, n = supply.motor, supply.motors
    seconds = (inertia + float(supply.rotors)) / (torque * fastest)  # a rad/s
    amps = supply.current(volts, turning)
    each, shaft = amps / n, turning * float(supply.reduction)
    driving = n * m.torque_constant * (each - m.no_load_current) * shaft

    def joules(watts: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        return float(simpson(watts * seconds, x=speed))

    return {
        "all": joules(volts * amps),
        "battery": joules(amps**2 * ohms),
        "windings": joules(n * each**2 * (m.resistance - n * ohms)),
        "motors": joules(n * m.emf_constant * each * shaft - driving),
        "gears": joules(driving * (1 - float(supply.efficiency))),
        "wheels": joules(torque * turning),
    }


def _of_spring(robot: Robot, drawn: Drawn, draw_m: float, exit_speed: float) -> tuple[EnergyStep, ...]:
    work = drawn.work(draw_m)
    if work is None:
        return ()
    model = float(drawn.exit_speed(1000 * draw_m, robot.element))
    # What moves on moves as fast as the element was found to, not as the profile has it.
    stop = drawn.stop_energy(draw_m, robot.element) * ((exit_speed / model) ** 2 if model > 0 else 1.0)
    found = [EnergyStep("out of the spring", work, False), EnergyStep("what the stop has to take", stop, True)]
    return (*found, *_to_the_element(robot, work - stop, "friction, and heat where it hits", exit_speed))
