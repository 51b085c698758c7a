"""All that a robot program gets: the setpoint curve with time of flight, exit speed, turn, voltage and unit of length.

The lead of a robot in motion follows from the curve: the element's speed along the floor at the exit, h(d), gives the
time d / h(d) in which the robot's own velocity is added up. Without air that is exact: the vertical motion, and so the
time, is the same whatever the robot does. Horizontally the launcher then has to do what the field sees less the robot's
own velocity, which is a standing robot's shot from the distance and bearing that this time shifts the target to.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

from fieldtune.aim.element_path import path_figures
from fieldtune.aim.recommend import mean_log_speed
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.turn import bias_turn
from fieldtune.battery.ceiling import BETWEEN_SHOTS_S, lowest_voltage
from fieldtune.frozen import frozen
from fieldtune.share.table_curve import Curve, curve
from fieldtune.unit_table import INCH

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

LengthUnit = Literal["m", "in"]
_PER_M = {"m": 1.0, "in": 1 / INCH}


@frozen
class ProgramTable:
    """A ``curve`` and what goes with its nodes (n,): ``time_s`` from exit to target, None where it isn't known;
    ``speed_mps``, the element's along the floor at the exit, None for elements that slide.

    ``turn_deg``: against the learned side bias, positive right. ``voltage``: what the setpoints ask of the battery.
    """

    curve: Curve
    time_s: FloatArray | None
    speed_mps: FloatArray | None
    turn_deg: float
    voltage: str
    unit: LengthUnit = "m"

    @property
    def per_m(self) -> float:
        """How many of the program's unit of length one metre holds."""
        return _PER_M[self.unit]

    def slopes(self, values: FloatArray) -> FloatArray:
        """Slopes (n,) a metre of the monotone curve through values at the nodes (Fritsch & Carlson 1980)."""
        return self.curve.slopes(values)


def program_table(
    session: Session,
    near_m: float,
    far_m: float,
    battery_v: float | None = None,
    target: str | None = None,
    unit: LengthUnit = "m",
) -> ProgramTable:
    """The table of a robot program over ``near_m``..``far_m``; raises as ``curve``."""
    of = curve(session, near_m, far_m, battery_v, target)
    robot, goal, belief = session.robot, session.robot.target(target), session.belief
    volts = of.volts if of.volts is not None else battery_v
    pairs = list(zip(of.distance_m.tolist(), of.setpoint.tolist(), strict=True))
    angles = [None] * len(pairs) if of.hood_deg is None else of.hood_deg.tolist()
    helds = [robot.with_exit_angle(angle) for angle in angles]
    paths = [
        path_figures(held, goal, belief.best, d, mean_log_speed(held, belief, s, volts))
        for held, (d, s) in zip(helds, pairs, strict=True)
    ]
    times = [path.time_s for path in paths]
    flat = [path.exit_speed_mps * math.cos(math.radians(path.exit_angle_deg)) for path in paths]
    few = slice(None, None, max(1, len(pairs) // 3))
    turns = [
        bias_turn(held, required_speed_for(held, goal), belief, d, s, volts)
        for held, (d, s) in zip(helds[few], pairs[few], strict=True)
    ]
    return ProgramTable(
        of,
        None if None in times else np.array(times, dtype=float).round(4),
        goal.by_way(lambda: np.array(flat).round(4), lambda: None),
        next((round(turn[0], 2) for turn in turns if turn is not None), 0.0),
        _voltage_words(robot, of),
        unit,
    )


def _voltage_words(robot: Robot, of: Curve) -> str:
    """What the setpoints ask of the battery, in one line."""
    if of.volts is not None:
        return f"Open loop: power for {of.volts:g} V; it goes with the inverse of the battery voltage."
    if of.unit != "rpm":
        return "A draw is the same at any battery voltage."
    top, ohms = float(of.setpoint.max()), robot.battery.resistance if robot.battery else None
    least = None if ohms is None else lowest_voltage(robot, top, ohms)
    if least is None:
        return "The robot's own control holds the speed; the voltage that this takes is unknown."
    rest = f"{BETWEEN_SHOTS_S:g} s between shots"
    return f"The robot's own control holds these speeds down to {least:.1f} V at rest ({rest})."
