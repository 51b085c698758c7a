"""Permanent-magnet motors as a straight torque-speed line, gears, and how fast an inertia spins up.

Equivalent circuit: V = I R + k_e w, shaft torque k_t (I - I_0) (Fitzgerald, Kingsley & Umans, Electric Machinery,
section 7.6). The no-load current I_0 stands for friction and iron losses. Speeds in rad/s; everything broadcasts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.lazy import LazyModule

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray
else:
    np = LazyModule("numpy")


@frozen
class Motor:
    """Resistance (ohm), torque constant (N m/A), back-emf constant (V s/rad), no-load current (A)."""

    resistance: float
    torque_constant: float
    emf_constant: float
    no_load_current: float


def motor(
    nominal_voltage: float, no_load_speed: float, stall_torque: float, stall_current: float, no_load_current: float
) -> Motor:
    """From a data sheet: V, rad/s, N m, A, A, all at the nominal voltage."""
    resistance = nominal_voltage / stall_current
    return Motor(
        resistance=resistance,
        torque_constant=stall_torque / (stall_current - no_load_current),
        emf_constant=(nominal_voltage - no_load_current * resistance) / no_load_speed,
        no_load_current=no_load_current,
    )


def identified(voltage: float, no_load_speed: float, no_load_current: float, resistance: float) -> Motor:
    """From a no-load run (V, rad/s, A) and the armature resistance (ohm); torque and emf constant are then the same."""
    constant = (voltage - no_load_current * resistance) / no_load_speed
    return Motor(resistance, constant, constant, no_load_current)


def current(machine: Motor, voltage: ArrayLike, speed: ArrayLike) -> FloatArray:
    """Current (A) at a voltage (V) and speed; negative where the motor is driven faster than the voltage holds."""
    volts, turning = np.asarray(voltage, dtype=float), np.asarray(speed, dtype=float)
    return np.asarray((volts - machine.emf_constant * turning) / machine.resistance, dtype=float)


def torque(machine: Motor, voltage: ArrayLike, speed: ArrayLike) -> FloatArray:
    """Torque at the shaft (N m) at a voltage (V) and speed."""
    return np.asarray(
        machine.torque_constant * (current(machine, voltage, speed) - machine.no_load_current), dtype=float
    )


def speed(machine: Motor, voltage: ArrayLike, load_torque: ArrayLike = 0.0) -> FloatArray:
    """Steady speed at a voltage (V) under a load (N m) at the shaft: the torque line solved for speed."""
    volts, load = np.asarray(voltage, dtype=float), np.asarray(load_torque, dtype=float)
    amps = load / machine.torque_constant + machine.no_load_current
    return np.asarray((volts - amps * machine.resistance) / machine.emf_constant, dtype=float)


def on_supply(machine: Motor, supply_resistance: float, motors: int = 1) -> Motor:
    """The motor with its share of a supply's resistance (ohm): ``motors`` alike share one, so each feels it that many
    times.
    """
    return Motor(
        machine.resistance + motors * supply_resistance,
        machine.torque_constant,
        machine.emf_constant,
        machine.no_load_current,
    )


def mean_voltage(supply: ArrayLike, on_fraction: ArrayLike) -> FloatArray:
    """Mean voltage (V) of a chopped supply (V) that is on for a fraction 0..1 of each period."""
    return np.asarray(np.asarray(supply, dtype=float) * np.asarray(on_fraction, dtype=float), dtype=float)


def reflected_inertia(inertia: ArrayLike, reduction: ArrayLike, efficiency: ArrayLike = 1.0) -> FloatArray:
    """Inertia (kg m^2) on a gear's slow side as its fast side feels it while speeding up: I / (efficiency n^2)."""
    i, n, eta = (np.asarray(a, dtype=float) for a in (inertia, reduction, efficiency))
    return np.asarray(i / (eta * n**2), dtype=float)


def time_constant(
    machine: Motor, inertia: ArrayLike, reduction: ArrayLike = 1.0, efficiency: ArrayLike = 1.0, motors: ArrayLike = 1
) -> FloatArray:
    """Time constant (s) of the approach to the no-load speed, for an inertia (kg m^2) at the output of a gear train.

    ``reduction`` is motor turns an output turn. J R / (n motors k_t k_e reduction^2 efficiency).
    """
    i, n, eta, count = (np.asarray(a, dtype=float) for a in (inertia, reduction, efficiency, motors))
    stiffness = count * n**2 * eta * machine.torque_constant * machine.emf_constant / machine.resistance
    return np.asarray(i / stiffness, dtype=float)


def approach(no_load_speed: ArrayLike, time_constant_s: ArrayLike, start: ArrayLike, time: ArrayLike) -> FloatArray:
    """Speed after a time (s) at full voltage from a start speed: exponential towards the no-load speed."""
    free, tau, begin, t = (np.asarray(a, dtype=float) for a in (no_load_speed, time_constant_s, start, time))
    return np.asarray(begin + (free - begin) * -np.expm1(-t / tau), dtype=float)


def approach_time(no_load_speed: ArrayLike, time_constant_s: ArrayLike, start: ArrayLike, end: ArrayLike) -> FloatArray:
    """Time (s) from a start to an end speed: tau ln((free - start) / (free - end)).

    0 where the end is not above the start, inf where it is not below the no-load speed.
    """
    values = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (no_load_speed, time_constant_s, start, end)))
    free, tau, begin, goal = values
    with np.errstate(divide="ignore", invalid="ignore"):
        time = tau * np.log((free - begin) / (free - goal))
    return np.where(goal <= begin, 0.0, np.where(goal >= free, np.inf, time))


def poles(
    inertia: float, viscous_friction: float, constant: float, resistance: float, inductance: float
) -> tuple[complex, complex]:
    """Poles (1/s), slow one first, of a motor with inductance (H) and viscous friction (N m s); SI, one constant.

    (J s + b)(L s + R) + k^2 = 0. Shows how much faster the current settles than the speed, which everything above
    takes for granted.
    """
    slow, fast = sorted(
        np.roots(
            [
                inertia * inductance,
                inertia * resistance + viscous_friction * inductance,
                viscous_friction * resistance + constant**2,
            ]
        ),
        key=lambda pole: -complex(pole).real,
    )
    return complex(slow), complex(fast)
