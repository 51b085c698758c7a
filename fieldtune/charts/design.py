"""Charts for mending and choosing: where misses come from, hit chance over the exit angle, gears, whole mechanisms.

"What do I mend first, and what does it buy?" "Which angle, which gears?" "Where does the energy go?"
"Which mechanism, and from where?"
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.charts.chart import Axis, Bars, Chart, Ink, Line, Marks, Shape, Words, axis_around, rows_axis
from fieldtune.figures import FIGURES
from fieldtune.person_units import amount, how_far
from fieldtune.sizing.results import gears_words

if TYPE_CHECKING:
    from fieldtune.aim.angle import AngleSweep
    from fieldtune.aim.error_budget import SpotBudget
    from fieldtune.sizing.compare import Comparison, Mechanism
    from fieldtune.sizing.energy_chain import EnergyStep
    from fieldtune.sizing.results import GearChoice

_CAUSES = 9
_LEAST_M = 0.0005
_SHAPES = "●◆▲■○◇"
"""One for each mechanism, in order."""
_OFF = 14.0
"""Per cent that a word stands off what it names: a row of cells even in a low picture."""
_ALIKE = 0.03
"""Scores no further apart are drawn beside each other."""


def budget_chart(spot: SpotBudget, mend_first: str | None = None) -> Chart | None:
    """Root mean square miss of each cause, cm, largest on top, and the hit chance if it were halved; None without."""
    causes = [cause for cause in spot.causes if cause.miss_m is not None and cause.miss_m > _LEAST_M][:_CAUSES]
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
        Axis(0.0, 1.9 * float(miss.max()), "cm"),
        rows_axis([cause.cause for cause in causes]),
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
        Words(sweep.best, top + (_OFF if top < 100 - _OFF else -_OFF), f"best {sweep.best:.0f}°", "good", "middle"),
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
    ]
    x = axis_around(np.array([c.recovery_s for c in known]), 0.2 * (known[0].recovery_s or 0.1), "s to be back")
    y = axis_around(np.array([c.farthest_m for c in known]), 0.5, "m reached")
    shapes: list[Shape] = [
        Marks(np.array([c.recovery_s for c in group]), np.array([c.farthest_m for c in group]), shape, ink)
        for shape, ink, group in groups
        if group
    ]
    for best in (c for c in known if c.best):
        at, high = best.recovery_s or 0.0, best.farthest_m or 0.0
        right = at > (x.low + x.high) / 2
        said = f"{gears_words(best.gears)} ●" if right else f"● {gears_words(best.gears)}"
        shapes.append(Words(at, high, said, "good", "end" if right else "start"))
    key: tuple[tuple[str, Ink, str], ...] = (
        ("●", "good", "pick"), ("◆", "act", "built"), ("○", "ink", "none better in both"), ("·", "quiet", "others"),
    )  # fmt: skip
    return Chart("Gear trains: time against reach", Axis(max(0.0, x.low), x.high, x.unit), y, tuple(shapes), key)


def energy_chart(chain: Sequence[EnergyStep]) -> Chart | None:
    """Where the energy of a shot goes, from its source down to the flight; None without figures."""
    if not chain:
        return None
    rows, left = rows_axis([step.name for step in chain]), 0.0
    shapes: list[Shape] = []
    for y, step in zip(range(len(chain) - 1, -1, -1), chain, strict=True):
        low, high = (left - step.joules, left) if step.lost else (0.0, step.joules)
        left = low if step.lost else high
        shapes.append(Bars(np.array([float(y)]), np.array([low]), np.array([high]), "quiet" if step.lost else "mark",
                           (amount(step.joules, "J", 2),)))  # fmt: skip
    most = max(step.joules for step in chain)
    key: tuple[tuple[str, Ink, str], ...] = (("█", "mark", "is there"), ("█", "quiet", "goes away"))
    return Chart("Where the energy of a shot goes", Axis(0.0, 1.35 * most, "J"), rows, tuple(shapes), key)


def comparison_charts(comparison: Comparison) -> tuple[Chart, Chart]:
    """Mechanisms side by side: the hit chance of each over distance, and what speaks for each."""
    shapes = dict(zip((m.name for m in comparison.mechanisms), _SHAPES, strict=False))
    return _from_where(comparison.mechanisms, shapes), _what_speaks(comparison, shapes)


def _key(shapes: dict[str, str]) -> tuple[tuple[str, Ink, str], ...]:
    return tuple((shape, "act", name) for name, shape in shapes.items())


def _from_where(mechanisms: Sequence[Mechanism], marks: dict[str, str]) -> Chart:
    shapes: list[Shape] = []
    for number, one in enumerate(mechanisms):
        x, y = np.array(one.distances_m), 100 * np.array(one.hit)
        shapes += [Line(x, y, gap=number + 1), Marks(x, y, marks.get(one.name, "·"), "act")]
    every = np.concatenate([one.distances_m for one in mechanisms])
    x_axis = axis_around(every, 0.5, "m")
    return Chart("Mechanisms side by side: hit chance", x_axis, Axis(0.0, 104.0, "%"), tuple(shapes), _key(marks))


def _what_speaks(comparison: Comparison, marks: dict[str, str]) -> Chart:
    """A row for each thing that counts; at its end the best figure and whose it is."""
    decision, mechanisms = comparison.decision, comparison.mechanisms
    counts = list(decision.weights)
    rows = rows_axis([*(f"{100 * decision.weights[name]:.0f} % {FIGURES[name].label}" for name in counts), "together"])
    shapes: list[Shape] = []
    for y, name in zip(range(len(counts), -1, -1), [*counts, None], strict=True):
        score = {m.name: decision.totals[m.name] if name is None else decision.scores[m.name][name] for m in mechanisms}
        shapes.append(Line(np.array([0.0, 1.0]), np.full(2, float(y)), "rule", gap=4))
        for at, together in _beside_each_other(score, marks):
            shapes.append(Words(at, float(y), together, "act" if name is not None else "mark", "middle"))
        best = max(score, key=lambda one: score[one])
        figure = "" if name is None else FIGURES[name].said(next(m for m in mechanisms if m.name == best).figures[name])
        alike = sum(value > score[best] - 1e-9 for value in score.values()) > 1
        who = figure or f"{score[best]:.2f}"
        shapes.append(Words(1.06, float(y), who if alike else f"{who} {best}", "ink"))
    x_axis = Axis(0.0, 1.55, names=((0.0, "0"), (0.5, "half"), (1.0, "best")))
    return Chart("What speaks for each, and how much it counts", x_axis, rows, tuple(shapes), _key(marks))


def _beside_each_other(score: dict[str, float], marks: dict[str, str]) -> list[tuple[float, str]]:
    """Where shapes stand; those of scores alike as one word."""
    found: list[tuple[float, str]] = []
    for name, value in sorted(score.items(), key=lambda item: item[1]):
        if found and value - found[-1][0] <= _ALIKE:
            found[-1] = found[-1][0], found[-1][1] + marks.get(name, "·")
        else:
            found.append((value, marks.get(name, "·")))
    return found
