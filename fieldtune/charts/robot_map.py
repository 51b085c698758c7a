"""The map of a robot: setpoint over distance, hit chance as tint, the recommended line, and every shot where it was.

"Which setpoint from here, and how sure?" The cross stands where the robot is now; a line through its distance meets
the recommended line at the answer, and the tint there says how likely it scores.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldtune.aim.chance_field import ChanceField
from fieldtune.aim.results import NextShot
from fieldtune.charts.chart import Axis, Chart, Field, Ink, Line, Marks, Shape, Words
from fieldtune.frozen import frozen
from fieldtune.learn.next_shot import GainField
from fieldtune.records import RESULT_SHAPES, Shot
from fieldtune.robot.model import Robot


@frozen
class MapPoints:
    """What moves on the map: (distance, setpoint) pairs; None where it isn't known.

    ``here``: where one stands, at the readback; ``cursor``: the point that is read; ``ceiling``: of the battery now.
    """

    here_m: float | None = None
    readback: float | None = None
    cursor: tuple[float, float] | None = None
    ceiling: float | None = None
    epoch: int | None = None


def robot_map(
    robot: Robot,
    field: ChanceField,
    points: MapPoints,
    shots: Sequence[Shot] = (),
    next_shot: NextShot | None = None,
    gain: GainField | None = None,
) -> Chart:
    """The map; with ``gain`` the tint is what a shot there is expected to teach, in place of its chance."""
    x = Axis(float(field.distance_m[0]), float(field.distance_m[-1]), "m")
    y = Axis(field.bottom, field.top, robot.setpoint.unit)
    tint = _chances(field)
    title, key = "Setpoint over distance, tint: hit chance", list[tuple[str, Ink, str]]()
    if gain is not None:
        tint, top = _gains(field, gain)
        title = f"Setpoint over distance, tint: what a shot teaches, up to {100 * top:.1f} points"
    shapes: list[Shape] = [tint]
    shapes += [Line(field.distance_m, edge, gap=4) for edge in (field.low, field.high)]
    shapes.append(Line(field.distance_m, field.best, thick=True))
    key += [("━", "path", "recommended"), ("┄", "path", "good range")]
    shapes += _spots(robot, x, y)
    if points.ceiling is not None and y.low < points.ceiling < y.high:
        shapes.append(Line(np.array([x.low, x.high]), np.full(2, points.ceiling), "bad", gap=2))
        shapes.append(Words(x.high, points.ceiling, "battery's ceiling", "bad", "end"))
    shapes += _shots(shots, points.epoch)
    if points.here_m is not None:
        shapes += _here(points.here_m, points.readback, y)
        key.append(("╋", "act", "now"))
    key += [("●", "good", "in"), ("▼▲", "ink", "short, long")] if shots else []
    if next_shot is not None:
        shapes.append(Marks(np.array([next_shot.distance_m]), np.array([next_shot.setpoint]), "◆", "mark"))
        key.append(("◆", "mark", f"worth taking next (+{100 * next_shot.gain:.1f} points)"))
    if points.cursor is not None:
        at, setpoint = points.cursor
        shapes.append(Marks(np.array([at]), np.array([setpoint]), "┼", "act"))
    return Chart(title, x, y, tuple(shapes), tuple(key))


def _chances(field: ChanceField) -> Field:
    return Field(field.distance_m, field.off, field.chance, field.middle)


def _gains(field: ChanceField, gain: GainField) -> tuple[Field, float]:
    """The expected gain as a field over the whole of the largest, and the largest."""
    top = float(gain.gain.max())
    middle = np.interp(gain.distance_m, field.distance_m, field.middle)
    values = np.array([
        np.interp(at + field.off, setpoints, gains, left=0.0, right=0.0)
        for at, setpoints, gains in zip(middle, gain.setpoint, gain.gain, strict=True)
    ])  # fmt: skip
    levels = tuple(max(top, 1e-6) * share for share in (0.15, 0.3, 0.45, 0.6, 0.75, 0.9))
    return Field(gain.distance_m, field.off, values, middle, levels), max(top, 0.0)


def _spots(robot: Robot, x: Axis, y: Axis) -> list[Shape]:
    """Each spot's key at the foot of the map."""
    marks = [(number, spot) for number, spot in enumerate(robot.spots[:9], 1) if x.low <= spot.distance <= x.high]
    at = np.array([spot.distance for _, spot in marks])
    return [Marks(at, np.full(len(at), y.low), "".join(str(number) for number, _ in marks), "mark")] if marks else []


def _shots(shots: Sequence[Shot], epoch: int | None) -> list[Shape]:
    """Shots that count, those of earlier battery periods first and quieter."""
    counted = [shot for shot in shots if shot.counts]
    early = [shot for shot in counted if epoch is not None and shot.epoch != epoch]
    late = [shot for shot in counted if epoch is None or shot.epoch == epoch]
    groups: list[tuple[list[Shot], Ink]] = [
        (early, "quiet"),
        ([shot for shot in late if shot.result != "in"], "ink"),
        ([shot for shot in late if shot.result == "in"], "good"),
    ]
    return [
        Marks(
            np.array([shot.distance_m for shot in group]),
            np.array([shot.setpoint for shot in group]),
            "".join(RESULT_SHAPES[shot.result] for shot in group),
            ink,
        )
        for group, ink in groups
        if group
    ]


def _here(distance_m: float, readback: float | None, y: Axis) -> list[Shape]:
    """A line through the distance, and the cross at the readback; an arrow where that is off the map."""
    at = np.array([distance_m])
    shapes: list[Shape] = [Line(np.full(2, distance_m), np.array([y.low, y.high]), gap=5)]
    if readback is None:
        return [*shapes, Marks(at, np.array([y.low]), "╋", "act")]
    shape = "▼" if readback < y.low else "▲" if readback > y.high else "╋"
    return [*shapes, Marks(at, np.clip([readback], y.low, y.high), shape, "act")]


def reading_at(field: ChanceField, distance_m: float, setpoint: float) -> float | None:
    """Hit chance at a point of the map, from its grid; None off the map."""
    value = _chances(field).at(np.array([distance_m]), np.array([setpoint]))
    return float(value[0, 0]) if np.isfinite(value[0, 0]) else None
