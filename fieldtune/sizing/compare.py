"""Mechanisms side by side, all figures computed from their profiles, then a weighted decision and how firm it is.

Where shots have taught better, the session's belief is passed instead of what the profile alone says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldtune.aim.distance_table import table
from fieldtune.aim.draws import Belief
from fieldtune.aim.reach import mean_point
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.errors import InputError
from fieldtune.figures import FIGURES
from fieldtune.frozen import frozen
from fieldtune.records import as_json
from fieldtune.records import known as finite
from fieldtune.sizing.decision import CRITERIA, Decision, decide
from fieldtune.sizing.reach import reach_table
from fieldtune.sizing.size import size

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot, Shape
    from fieldtune.sizing.results import Size


FEEDING_LIMIT = 60.0
"""Shots a minute that feeding by hand or hopper usually allows; a drive quicker than that gains nothing (common
practice, no source)."""

_DISTANCES = 9


@frozen
class Mechanism:
    """One robot's column.

    ``shots_used``: how many shots its belief rests on, 0 for the profile alone. ``hit``: hit probability of the best
    setpoint at each of ``distances_m``, 0 where none scores. In ``figures``, ``scatter_m`` is the shot-to-shot standard
    deviation along the range (window: in height) at the middle distance.
    """

    name: str
    title: str
    kind: str
    shapes: tuple[Shape, ...]
    shots_used: int
    nearest_m: float | None
    distances_m: tuple[float, ...]
    hit: tuple[float, ...]
    figures: dict[str, float | None]


@frozen
class Comparison:
    """Mechanisms, the decision on them, and it in words."""

    mechanisms: tuple[Mechanism, ...]
    decision: Decision
    words: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain dict for ``--json``."""
        return dict(as_json(self))


def compare(
    robots: Sequence[Robot],
    beliefs: Mapping[str, Belief],
    weights: Mapping[str, float] | None = None,
    distances_m: Sequence[float] | None = None,
) -> Comparison:
    """Compare robots, each at its first target and from its own spots.

    ``beliefs`` by robot name: those that aiming rests on, learned or not; ``weights`` by criterion name (see
    ``CRITERIA``), any scale; ``distances_m`` to judge all at, else each from its spots, and one without spots at nine
    distances that it scores from. Raises ``InputError`` for fewer than two robots, two of one name, or a weight that
    can't be.
    """
    names = [robot.name for robot in robots]
    if len(robots) < 2:
        raise InputError("comparing takes at least two robots")
    if len(set(names)) < len(names):
        raise InputError("comparing takes robots of different names: copy the profile under another one")
    columns = []
    for robot in robots:
        figures = size(robot, sweep=False)
        places = tuple(distances_m) if distances_m is not None else _own_distances(robot, figures)
        columns.append(_mechanism(robot, figures, places, beliefs[robot.name]))
    decision = decide(names, {column.name: column.figures for column in columns}, CRITERIA, weights)
    return Comparison(tuple(columns), decision, _words(decision))


def _own_distances(robot: Robot, figures: Size) -> tuple[float, ...]:
    if robot.spots:
        return tuple(sorted({spot.distance for spot in robot.spots}))
    near = figures.near_m if figures.near_m is not None else 0.5
    far = figures.far_m if figures.far_m is not None else near + 1.0
    return tuple(float(d) for d in np.linspace(near, max(far, near + 0.1), _DISTANCES))


def _mechanism(robot: Robot, figures: Size, distances: tuple[float, ...], belief: Belief) -> Mechanism:
    target = robot.target()
    rows = table(robot, target, belief, list(distances))
    hit = tuple(row.hit_probability or 0.0 for row in rows)
    return Mechanism(
        name=robot.name,
        title=robot.title,
        kind=robot.launcher.kind,
        shapes=robot.launcher.mechanism.shapes,
        shots_used=belief.shots_used,
        nearest_m=reach_table(robot, target).nearest,
        distances_m=distances,
        hit=hit,
        figures={
            "hit_probability": float(np.mean(hit)),
            "reach_m": figures.farthest_m,
            "shots_per_minute": _rate(figures),
            "scatter_m": scatter(robot, belief, distances[len(distances) // 2]),
            "shot_energy_j": figures.taken_energy_j,
            "wear_energy_j": figures.lost_energy_j,
            "parts": _parts(robot),
        },
    )


def scatter(robot: Robot, belief: Belief, distance_m: float) -> float | None:
    """Shot-to-shot standard deviation of the miss (m) at a distance, to first order; None where nothing scores."""
    best, point = belief.best, mean_point(required_speed_for(robot, robot.target()), belief, distance_m)
    # A launch off by ds in log speed and da in angle lands where need(miss) has moved by ds - need_angle da.
    spread: FloatArray = np.hypot(best.speed_scatter[0], point.d_angle * best.angle_scatter[0])
    per_metre = float(np.abs(point.d_miss)[0])
    return finite(float(spread[0]) / per_metre) if per_metre > 0 else None


def _rate(figures: Size) -> float | None:
    rate = figures.rate_per_minute
    return None if rate is None else min(rate, FEEDING_LIMIT)


def _parts(robot: Robot) -> float | None:
    """Motors, gears (two a stage), and the mechanism's own."""
    drive = robot.drive
    return None if drive is None else float(drive.motors + 2 * len(drive.gears) + robot.launcher.mechanism.parts)


def _words(decision: Decision) -> tuple[str, ...]:
    lines = []
    if decision.winner is None:
        why = "they score alike" if decision.weights else "nothing is known of all of them"
        lines.append(f"no winner: {why}")
    else:
        order = sorted(decision.totals, key=lambda name: -decision.totals[name])
        lines.append(", ".join(f"{name} {decision.totals[name]:.2f}" for name in order) + f": {decision.winner} wins")
    for flip in decision.flips[:3]:
        weights = f"{100 * flip.weight_then:.0f} % instead of {100 * flip.weight:.0f} %"
        lines.append(f"{flip.winner} wins if {FIGURES[flip.criterion].label} has a weight of {weights}")
    if decision.winner is not None and not decision.flips:
        lines.append("no change of a single weight lets another win")
    lines.extend(f"{FIGURES[name].label} left out: not known of all" for name in decision.left_out)
    return tuple(lines)
