"""Charts for mending and choosing: where misses come from, hit chance over the exit angle, gears.

"What do I mend first, and what does it buy?" "Which angle, which gears?"
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.charts.chart import Axis, Bars, Chart, Ink, Line, Marks, Shape, Words, axis_around
from fieldtune.person_units import amount, how_far
from fieldtune.sizing.results import gears_words

if TYPE_CHECKING:
    from fieldtune.aim.angle import AngleSweep
    from fieldtune.aim.error_budget import SpotBudget
    from fieldtune.sizing.results import GearChoice

_CAUSES = 9


def budget_chart(spot: SpotBudget, mend_first: str | None = None) -> Chart | None:
    """Root mean square miss of each cause, cm, largest on top, and the hit chance if it were halved; None without."""
    causes = [cause for cause in spot.causes if cause.miss_m is not None and cause.miss_m > 0][:_CAUSES]
    if not causes:
        return None
    at = np.arange(len(causes))[::-1].astype(float)
    miss = np.array([100 * (cause.miss_m or 0.0) for cause in causes])
    words = tuple(
        amount(value, "cm", 1) + ("" if cause.halved is None else f", halved: {100 * cause.halved:.0f} %")
        for value, cause in zip(miss, causes, strict=True)
    )
    shapes: list[Shape] = []
    for place, cause in enumerate(causes):
        ink: Ink = "act" if cause.cause == mend_first else "mark"
        shapes.append(Bars(at[place : place + 1], np.zeros(1), miss[place : place + 1], ink, words[place : place + 1]))
    chance = "" if spot.hit_probability is None else f", hit chance {100 * spot.hit_probability:.0f} %"
    key: tuple[tuple[str, Ink, str], ...] = (("█", "act", "mend first"),) if mend_first else ()
    return Chart(
        f"Where misses come from at {spot.spot or f'{how_far(spot.distance_m)}'}{chance}",
        Axis(0.0, 1.6 * float(miss.max()), "cm"),
        Axis(-0.7, len(causes) - 0.3, names=tuple(zip(at.tolist(), (cause.cause for cause in causes), strict=True))),
        tuple(shapes),
        key,
    )


def angle_chart(sweep: AngleSweep) -> Chart:
    """Mean hit chance over the spots, and that of the worst, over the exit angle; the best and the robot's own."""
    degrees = np.array([row.exit_angle_deg for row in sweep.angles])
    mean = 100 * np.array([row.mean for row in sweep.angles])
    worst = 100 * np.array([row.worst for row in sweep.angles])
    top = float(np.interp(sweep.best, degrees, mean))
    now = sweep.now
    shapes: tuple[Shape, ...] = (
        Line(degrees, mean, thick=True),
        Line(degrees, worst, gap=3),
        Marks(np.array([sweep.best]), np.array([top]), "●", "good"),
        Words(sweep.best, min(top + 7, 99.0), f"best {sweep.best:.0f}°", "good", "middle"),
        Marks(np.array([now.exit_angle_deg]), np.array([100 * now.mean]), "◆", "act"),
    )
    key: tuple[tuple[str, Ink, str], ...] = (
        ("━", "path", "mean of the spots"), ("┄", "path", "worst spot"), ("◆", "act", "as built"),
    )  # fmt: skip
    x = Axis(float(degrees[0]), float(degrees[-1]), "°")
    return Chart("Hit chance over the exit angle", x, Axis(0.0, 100.0, "%"), shapes, key)


def gears_chart(choices: Sequence[GearChoice]) -> Chart | None:
    """Each gear train by how far it reaches and how soon the wheel is back after a shot; None without figures."""
    known = [c for c in choices if c.farthest_m is not None and c.recovery_s is not None]
    if not known:
        return None
    groups: list[tuple[str, Ink, list[GearChoice]]] = [
        ("·", "quiet", [c for c in known if not (c.best or c.present or c.on_front)]),
        ("○", "ink", [c for c in known if c.on_front and not (c.best or c.present)]),
        ("◆", "act", [c for c in known if c.present and not c.best]),
        ("●", "good", [c for c in known if c.best]),
    ]
    x = axis_around(np.array([c.recovery_s for c in known]), 0.2 * (known[0].recovery_s or 0.1), "s to be back")
    y = axis_around(np.array([c.farthest_m for c in known]), 0.5, "m reached")
    shapes: list[Shape] = [
        Marks(np.array([c.recovery_s for c in group]), np.array([c.farthest_m for c in group]), shape, ink)
        for shape, ink, group in groups
        if group
    ]
    shapes += [
        Words(
            float(c.recovery_s or 0.0),
            float(c.farthest_m or 0.0) + 0.04 * (y.high - y.low),
            gears_words(c.gears),
            "good",
            "middle",
        )
        for c in known
        if c.best
    ]
    key: tuple[tuple[str, Ink, str], ...] = (
        ("●", "good", "pick"), ("◆", "act", "built"), ("○", "ink", "none better in both"), ("·", "quiet", "others"),
    )  # fmt: skip
    return Chart("Gear trains: time against reach", Axis(max(0.0, x.low), x.high, x.unit), y, tuple(shapes), key)
