"""Cocking a striker or an arm: torque over the stroke, how far the drive can draw it, how long that takes.

A crank of radius r draws d = r (1 - cos theta), so a force F at the striker asks for F r sin(theta) (slider on a crank
with a long rod: dead centres at both ends, hardest in between). An arm without a crank is turned at its pivot; its
weight, which helps to draw it back, is left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.arrays import FloatArray
from fieldtune.robot.drivetrain import Train

_POINTS = 129


@dataclass(frozen=True, slots=True)
class Stroke:
    """One cocking stroke, shapes (n,): turn of the crank or pivot (rad), draw (m), torque asked for there (N m).

    ``full_turn`` is the turn of a whole cycle, the empty way back included.
    """

    turn: FloatArray
    draw: FloatArray
    torque: FloatArray
    full_turn: float

    @property
    def worst(self) -> int:
        """Where the stroke is hardest."""
        return int(np.argmax(self.torque))


Force = Callable[[FloatArray], FloatArray]
"""Force (N) against which the drive pulls at draws (m)."""


def pivot_stroke(force: Force, radius: float, draw: float) -> Stroke:
    """Turned at a pivot, with so much draw (m) per radian, to a draw."""
    turn = np.linspace(0.0, draw / radius, _POINTS)
    way = turn * radius
    return Stroke(turn, way, force(way) * radius, 2 * float(turn[-1]))


def crank_stroke(force: Force, radius: float, draw: float) -> Stroke:
    """Drawn by a crank of this radius (m) to a draw; one too short for it ends at its dead centre."""
    turn = np.linspace(0.0, math.acos(max(1 - draw / radius, -1.0)), _POINTS)
    way = radius * (1 - np.cos(turn))
    return Stroke(turn, way, force(way) * radius * np.sin(turn), 2 * math.pi)


def draws_by_torque(full: Stroke, torque: ArrayLike) -> FloatArray:
    """Longest draws (m) that torques (N m) can cock, along the full stroke; 0 where they can't even begin."""
    top = full.worst
    values = np.asarray(torque, dtype=float)
    hardest = np.maximum.accumulate(full.torque[: top + 1])
    partial = np.where(values < hardest[0], 0.0, np.interp(values, hardest, full.draw[: top + 1]))
    return np.where(values > hardest[-1], full.draw[-1], partial)


def cock_time(way: Stroke, supply: Train, open_circuit_v: ArrayLike) -> FloatArray:
    """Seconds to cock at full power, inertia left out (it is small against the spring); inf where the drive stalls.

    Shape: that of the supply's gear trains broadcast with the voltages.
    """
    rate = _speed_over(way, supply, open_circuit_v)
    slowness = 1 / rate
    seconds = np.sum((slowness[..., 1:] + slowness[..., :-1]) / 2 * np.diff(way.turn), axis=-1)
    return np.asarray(np.where(np.isnan(seconds), np.inf, seconds), dtype=float)


def return_time(way: Stroke, supply: Train, open_circuit_v: ArrayLike) -> FloatArray:
    """Seconds for the empty rest of the cycle at the drive's no-load speed."""
    free = supply.no_load_speed(open_circuit_v)
    rest = way.full_turn - float(way.turn[-1])
    return np.where(free > 0, rest / np.where(free > 0, free, 1.0), np.inf)


def _speed_over(way: Stroke, supply: Train, open_circuit_v: ArrayLike) -> FloatArray:
    spread = Train(supply.motor, supply.motors, supply.reduction[..., None], supply.efficiency[..., None])
    return spread.speed(np.asarray(open_circuit_v, dtype=float)[..., None], way.torque)
