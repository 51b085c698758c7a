"""Charts of what shots taught: before and after, residuals with the correction, landings from above, drift.

"What is different about this robot, how sure is that, and do its shots still agree?"
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.charts.chart import Axis, Band, Bars, Chart, Ink, Line, Marks, Shape, Words, axis_around, rows_axis
from fieldtune.learn.agreement import predicted
from fieldtune.learn.learned_facts import facts
from fieldtune.person_units import amount, digits_of
from fieldtune.records import RESULT_SHAPES, Result

if TYPE_CHECKING:
    from fieldtune.aim.results import Fact
    from fieldtune.arrays import FloatArray
    from fieldtune.learn.agreement import Predicted
    from fieldtune.learn.posterior import Fit, Posterior
    from fieldtune.robot.model import Robot, Target

_FAR = 4.0
"""A fact is drawn at most so many of the profile's spreads from what the profile says."""
_Q90 = 1.645


def learned_charts(before: Posterior, after: Posterior, robot: Robot, target: Target) -> tuple[Chart, ...]:
    """All pictures of what was learned that there is something to draw for; ``before``: without shots."""
    fit, seen = after.fit, predicted(after.fit)
    changed = before_and_after(facts(before.fit), facts(fit))
    return (changed,) if seen is None else (changed, residuals(fit, seen, robot), *_of_shots(after, seen, target))


def shot_charts(after: Posterior, target: Target) -> tuple[Chart, ...]:
    """Where shots came down and how they agree with what is believed; none without shots that say how far they went."""
    seen = predicted(after.fit)
    return () if seen is None else _of_shots(after, seen, target)


def _of_shots(after: Posterior, seen: Predicted, target: Target) -> tuple[Chart, ...]:
    return landings(after.fit, seen, target), drift(after.fit, seen, after)


def before_and_after(before: Sequence[Fact], after: Sequence[Fact]) -> Chart:
    """What each fact was by the profile (thin) and is by the shots (thick), in the profile's own spreads."""
    known = {fact.name: fact for fact in before}
    drawn = [fact for fact in after if fact.name in known and known[fact.name].sd > 0]
    shapes: list[Shape] = []
    for row, fact in enumerate(reversed(drawn)):
        was = known[fact.name]
        at = (fact.value - was.value) / was.sd
        low, high = (max(-_FAR, min(_FAR, at + side * fact.sd / was.sd)) for side in (-1, 1))
        y = float(row)
        shapes.append(Bars(np.array([y + 0.33]), np.array([-1.0]), np.array([1.0]), "quiet", thin=True))
        shapes.append(Bars(np.array([y]), np.array([low]), np.array([high]), "mark", (_value(fact),)))
    key: tuple[tuple[str, Ink, str], ...] = (("├─┤", "quiet", "by the profile ± 1"), ("█", "mark", "by the shots"))
    y_axis = rows_axis([fact.name for fact in drawn])
    x_axis = Axis(-_FAR, _FAR + 2, "of the profile's spreads")
    middle = Line(np.zeros(2), np.array([y_axis.low, y_axis.high]), "rule", 4)
    return Chart("Before and after", x_axis, y_axis, (middle, *shapes), key)


def _value(fact: Fact) -> str:
    digits = 3 if abs(fact.value) < 2 and not fact.unit else 1
    return f"{digits_of(fact.value, fact.unit, digits)} ± {amount(fact.sd, fact.unit, digits)}".rstrip()


def residuals(fit: Fit, seen: Predicted, robot: Robot) -> Chart:
    """Each shot's exit speed against the profile's model over the setpoint, and the correction fitted to all, per cent.

    A measured shot is a point; of one told in words only the edge of the opening is known that it stayed below (▼) or
    above (▲), or the stretch that it lies in.
    """
    basis, gain = fit.belief.basis, fit.belief.draws.gain
    quantity = fit.table.quantity[seen.index]
    scale = robot.setpoint.scale.per_quantity(robot.drive, None)
    near, far = 0.9 * float(quantity.min()), 1.1 * float(quantity.max())
    grid = np.geomspace(max(near, basis.q_low), min(far, basis.q_high), 40)
    curve = 100 * np.expm1(gain @ basis.at(grid).T)
    middle = fit.belief.weights @ curve
    low, high = np.percentile(curve, [5, 95], axis=0)
    own = fit.belief.weights @ (gain @ basis.at(quantity).T)
    shapes: list[Shape] = [Band(grid * scale, low, high), Line(grid * scale, middle, thick=True)]
    x = quantity * scale
    measured = np.isfinite(fit.table.miss[seen.index])
    points = np.where(measured, 100 * np.expm1(own + np.nan_to_num(seen.miss)), np.nan)
    shapes.append(Marks(x[measured], points[measured], "◆", "ink"))
    values = [low, high, points]
    for name, edge in (("short", seen.low), ("long", seen.high)):
        rows = fit.table.is_result(name)[seen.index] & ~measured & np.isfinite(edge)
        y = 100 * np.expm1(own + np.nan_to_num(edge, posinf=0.0))
        shapes.append(Marks(x[rows], y[rows], RESULT_SHAPES[_result(name)], "ink"))
        values.append(y[rows])
    scored = fit.table.is_result("in")[seen.index] & ~measured & np.isfinite(seen.high) & np.isfinite(seen.low)
    for place in np.flatnonzero(scored):
        ends = 100 * np.expm1(own[place] + np.array([seen.low[place], seen.high[place]]))
        shapes.append(Line(np.full(2, x[place]), ends, "good"))
        values.append(ends)
    key: tuple[tuple[str, Ink, str], ...] = (
        ("━", "path", "fitted correction"), ("▒", "quiet", "90 %"), ("◆", "ink", "measured"),
        ("│", "good", "in"), ("▼▲", "ink", "short, long"),
    )  # fmt: skip
    x_axis = Axis(float(grid[0]) * scale, float(grid[-1]) * scale, robot.setpoint.unit)
    return Chart("Exit speed against the profile's model", x_axis, axis_around(np.concatenate(values), 4.0, "%"),
                 tuple(shapes), key)  # fmt: skip


def _result(name: str) -> Result:
    found: dict[str, Result] = {"in": "in", "short": "short", "long": "long"}
    return found[name]


def landings(fit: Fit, seen: Predicted, target: Target) -> Chart:
    """Where shots came down around the target's centre, from above: measured, else where belief puts them."""
    table, index = fit.table, seen.index
    measured = np.isfinite(table.miss[index])
    slope = np.maximum(np.abs(seen.by_miss), 1e-6)
    along = np.where(measured, table.miss[index], np.clip(-seen.center / slope, -2.0, 2.0))
    side = np.where(np.isfinite(table.side[index]), table.side[index], 0.0)
    half_deep, half_wide = target.depth / 2, target.width / 2
    turn = np.linspace(0, 2 * np.pi, 60)
    round_ = len(target.opening) == 1 and target.by_way(lambda: True, lambda: False)
    outline = (half_wide * np.cos(turn), half_deep * np.sin(turn)) if round_ else (
        half_wide * np.array([-1, 1, 1, -1, -1.0]), half_deep * np.array([-1, -1, 1, 1, -1.0]))  # fmt: skip
    shapes: list[Shape] = [Line(*outline, "mark")]
    spread = _Q90 * float(np.median(np.hypot(seen.scatter, seen.doubt) / slope))
    sideways = _Q90 * float(np.median(table.reading[index])) * float(np.mean(fit.belief.draws.side_scatter))
    shapes.append(Line(sideways * np.cos(turn), spread * np.sin(turn), "path", gap=4))
    groups: list[tuple[FloatArray, Ink]] = [(~measured, "quiet"), (measured, "ink")]
    for rows, ink in groups:
        at = np.flatnonzero(rows)
        marks = "".join(RESULT_SHAPES[table.shots[index[place]].result] for place in at)
        if marks:
            shapes.append(Marks(side[at], along[at], marks, ink))
    most = max(half_wide, sideways, float(np.abs(side).max()) if len(side) else 0.0)
    high = max(half_deep, spread, float(np.abs(along).max()) if len(along) else 0.0)
    shapes.append(Words(0.0, 1.12 * high, "long", "quiet", "middle"))
    shapes.append(Words(0.0, -1.12 * high, "short", "quiet", "middle"))
    key: tuple[tuple[str, Ink, str], ...] = (
        ("─", "mark", "opening"), ("┄", "path", "90 % expected"), ("●", "ink", "measured"), ("●", "quiet", "by belief"),
    )  # fmt: skip
    return Chart("Landings from above", Axis(-1.1 * most, 1.1 * most, "m"), Axis(-1.2 * high, 1.2 * high, "m"),
                 tuple(shapes), key, same_scale=True)  # fmt: skip


def drift(fit: Fit, seen: Predicted, after: Posterior) -> Chart:
    """How far each shot's speed lay from what is believed, per cent, in order; dotted lines: battery periods."""
    table, index = fit.table, seen.index
    measured = np.isfinite(table.miss[index])
    scored = table.is_result("in")[index]
    low, high = seen.low, np.where(np.isfinite(seen.high), seen.high, 0.0)
    # Of a word only the nearest speed is known that agrees with it.
    by_word = np.select(
        [scored, table.is_result("short")[index], table.is_result("long")[index]],
        [np.clip(0.0, low, np.maximum(low, high)), np.minimum(low, 0.0), np.maximum(high, 0.0)],
    )
    off = 100 * np.expm1(np.where(measured, np.nan_to_num(seen.miss), np.nan_to_num(by_word)))
    number = np.array([table.shots[place].shot for place in index], dtype=float)
    wide = 100 * _Q90 * np.hypot(seen.scatter, seen.doubt)
    y = axis_around(np.concatenate([off, wide, -wide]), 2.0, "%")
    x = Axis(float(number[0]) - 0.5, max(float(number[-1]), number[0] + 4.0) + 0.5, "shot")
    shapes: list[Shape] = [Band(number, -wide, wide), Line(np.array([x.low, x.high]), np.zeros(2), gap=3)]
    periods = table.epoch[index]
    begins = number[1:][np.diff(periods) != 0] - 0.5
    shapes += [Line(np.full(2, at), np.array([y.low, y.high]), "quiet", gap=4) for at in begins]
    said = after.learned().drift
    if said.drifting and said.since_shot is not None:
        shapes.append(Words(float(said.since_shot), y.high, "drifting from here", "bad"))
    marks = "".join(RESULT_SHAPES[table.shots[place].result] for place in index)
    shapes.append(Marks(number, off, marks, "ink"))
    key: tuple[tuple[str, Ink, str], ...] = (("▒", "quiet", "90 % expected"), ("●▼▲", "ink", "shots in order"))
    return Chart("Drift: speed off what is believed", x, y, tuple(shapes), key)
