"""One number for a robot program that carries an older table: what its setpoints have to be multiplied by today.

A battery change or a repair moves the level of all setpoints alike and keeps their shape; the program's table then
stays, and one constant in it is edited.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.distance_table import table
from fieldtune.errors import InputError, OutOfReachError
from fieldtune.files import read_whole
from fieldtune.frozen import frozen
from fieldtune.lazy import LazyModule
from fieldtune.share.table_curve import stretches
from fieldtune.unit_table import INCH

if TYPE_CHECKING:
    from scipy import interpolate

    from fieldtune.arrays import FloatArray
    from fieldtune.session import Session
else:  # not every table needs it, and it takes long to import
    interpolate = LazyModule("scipy.interpolate")

_LARGEST = 1_000_000
_CHECKS = 25
_MADE_BY = re.compile(r"Setpoint over distance for robot ([a-z0-9-]+), made by fieldtune")
_TRIM = re.compile(r"\btrim\s*=\s*([-+.\deE]+)", re.I)
_VOLTS = re.compile(r"\btable_volts\s*=\s*([-+.\deE]+)", re.I)


@frozen
class Trim:
    """``trim`` to put into the program in place of ``was``.

    ``worst_error_before`` and ``worst_error`` (setpoint units): farthest off today's recommendation with the one and
    the other, over ``near_m``..``far_m``; ``worst_loss_before`` and ``worst_loss``: points of hit chance that this
    costs (0.05 is five per cent).
    """

    robot: str
    file: str
    was: float
    trim: float
    unit: str
    worst_error_before: float
    worst_error: float
    worst_loss_before: float
    worst_loss: float
    near_m: float
    far_m: float
    epoch: int
    shots_used: int


def trim(session: Session, path: Path | str, target: str | None = None) -> Trim:
    """The trim of the program table in ``path`` (a source that ``table`` or the console's export wrote).

    Least squares of today's recommendations over the table's range, each weighed by the width of its good range. Those
    at the limits of what the robot takes are left out: they would be elsewhere if they could, and their good range is
    cut. A hood stands as the table has it. Raises ``InputError`` for a file that holds no such table of this robot,
    ``OutOfReachError`` where today's recommendations reach none of it.
    """
    robot, path = session.robot, Path(path)
    text = read_whole(path, "a robot program that 'fieldtune table' wrote", _LARGEST).decode("utf-8", "replace")
    made = _MADE_BY.search(text)
    if made is None:
        raise InputError(f"{path}: no table that fieldtune made; 'fieldtune table --format' writes one")
    if made[1] != robot.name:
        raise InputError(f"{path}: made for robot {made[1]}, not for {robot.name}")
    was, volts = _number(path, text, _TRIM, "trim"), None
    if robot.setpoint.scale.follows_voltage:
        volts = _number(path, text, _VOLTS, "table volts")
    at, old, hood = _table(path, text)
    told: list[tuple[float | None, ...]] = []
    for part in stretches(at):
        # Where the next stretch begins, that one is asked.
        there = at[part]
        distances = [float(d) for d in np.linspace(at[0], at[-1], _CHECKS) if there[0] <= d <= there[-1]]
        held, angle = robot, None if hood is None else float(hood[part][0])
        if robot.hood is not None:
            held = robot.with_exit_angle(angle)
        carried_there = interpolate.PchipInterpolator(there, old[part])(distances)
        rows = table(held, held.target(target), session.belief, distances, volts, rounded=False)
        told += [
            (r.distance_m, r.setpoint, r.low, r.high, r.hit_probability, float(c), angle)
            for r, c in zip(rows, carried_there, strict=True)
            if r.setpoint
        ]
    if not told:
        raise OutOfReachError(f"{robot.name} scores from nowhere in {path}'s range today; 'fieldtune aim' says why")
    d, now, low, high, best, carried, angles = np.array(told, dtype=float).T
    limits = robot.setpoint
    free = (low > limits.low) & (high < limits.high)
    use = free if free.any() else np.ones(len(d), dtype=bool)
    weight = np.where(use, 1 / np.maximum(high - low, limits.step) ** 2, 0.0)
    factor = round(float(np.sum(weight * now * carried) / np.sum(weight * carried**2)), 4)

    def loss(by: float) -> float:
        asked = np.clip(by * carried, 1e-9, limits.high)
        chances = [
            session.hit_chance(float(x), float(s), volts, target, None if np.isnan(a) else float(a))
            for x, s, a in zip(d, asked, angles, strict=True)
        ]
        return float(np.maximum(best - chances, 0.0).max())

    return Trim(
        robot=robot.name,
        file=str(path),
        was=was,
        trim=factor,
        unit=robot.setpoint.unit,
        worst_error_before=float(np.abs(was * carried - now)[use].max()),
        worst_error=float(np.abs(factor * carried - now)[use].max()),
        worst_loss_before=loss(was),
        worst_loss=loss(factor),
        near_m=float(d[0]),
        far_m=float(d[-1]),
        epoch=session.log.epoch,
        shots_used=session.belief.shots_used,
    )


def _table(path: Path, text: str) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Distances (n,), metres, setpoints (n,) and exit angles (n,; None without a hood) as the source carries them."""
    setpoints, angles = _values(text, "setpoints?"), _values(text, "hoods?_deg")
    for unit, metres in (("m", 1.0), ("in", INCH)):
        at = metres * _values(text, f"distance_{unit}")
        fits = len(at) >= 2 and len(at) == len(setpoints) and len(angles) in (0, len(at))
        if fits and np.all(np.diff(at) >= 0) and (len(angles) or np.all(np.diff(at) > 0)):
            return at, setpoints, angles if len(angles) else None
    raise InputError(f"{path}: its table can't be read any more; make it anew with 'fieldtune table'")


def _values(text: str, name: str) -> FloatArray:
    """The numbers (n,) of a list in any of the languages; empty where there is no such list."""
    match = re.search(rf"\b{name}(?:\[\w*\])?\s*=\s*[({{]([-+.,\deE\s]*)[)}}]", text, re.I)
    try:
        return np.array([float(number) for number in match[1].split(",") if number.strip()] if match else [])
    except ValueError:
        return np.array([])


def _number(path: Path, text: str, rule: re.Pattern[str], what: str) -> float:
    match = rule.search(text)
    try:
        number = float(match[1]) if match else 0.0
    except ValueError:
        number = 0.0
    if not 0 < number < 1e6:
        raise InputError(f"{path}: its {what} can't be read any more; make it anew with 'fieldtune table'")
    return number
