"""Charts of a line's history: wheel or draw against the real setpoint, voltage and current with the battery's forecast.

"Does the wheel hold what it is told, and how soon is it back after a shot?" "Will this battery last the match?"
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldtune.charts.chart import Axis, Band, Bars, Chart, Ink, Line, Marks, Shape, Words, axis_around, rows_axis
from fieldtune.frozen import frozen
from fieldtune.person_units import how_far
from fieldtune.plain_text import counted

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.battery.change import Outlook as Before
    from fieldtune.link.history import Stretch
    from fieldtune.robot.model import Robot

_STEPS = 600
"""Steps of a curve: more than any screen has columns of dots."""
_MINUTE_S = 60.0
_SPREAD = 2.0
"""The band holds so many root mean squares of the ripple either side."""
_NEAR = 0.6
"""The voltage that is too low is drawn where it is no further below the others than such a share of their range."""
_STARTS_MM = 2.0
"""A draw beyond this has begun."""


@frozen
class Holding:
    """How the wheel holds its setpoint (rpm), and the good range; None where unknown."""

    steady_error: float | None = None
    ripple: float | None = None
    good: tuple[float, float] | None = None


def wheel_chart(
    robot: Robot, stretch: Stretch, end_s: float, span_s: float, holding: Holding, frozen: bool = False
) -> Chart:
    """Readback and setpoint over ``span_s`` seconds up to ``end_s``; where nothing was heard then, that in words."""
    seen = stretch.thinned(_STEPS)
    ended = f"{_span(span_s)}, {'frozen' if frozen else 'live'}"
    if not len(seen.time_s) or not np.isfinite(seen.high).any():
        silence = Words(-span_s / 2, 0.5, "nothing was heard in this time", "quiet", "middle")
        return Chart(f"Readback over {ended}", Axis(-span_s, 0.0, "s"), Axis(0.0, 1.0, names=((0.0, ""),)), (silence,))
    wheel = robot.launcher.mechanism.by_motion(lambda _: True, lambda _: False)
    held = robot.setpoint.scale.is_speed or not wheel
    at = seen.time_s - end_s
    shapes, key = list[Shape](), list[tuple[str, Ink, str]]()
    if held and holding.ripple is not None and np.isfinite(seen.setpoint).any():
        middle, off = seen.setpoint + (holding.steady_error or 0.0), _SPREAD * holding.ripple
        moving = np.abs((seen.low + seen.high) / 2 - middle) > max(6 * holding.ripple, 0.1 * np.abs(middle).max())
        shapes.append(Band(at, np.where(moving, np.nan, middle - off), np.where(moving, np.nan, middle + off)))
        key.append(("▒", "quiet", "usual spread"))
    shapes.append(Line(*_upright(at, seen.low, seen.high)))
    key.insert(0, ("━", "path", "readback"))
    if held and np.isfinite(seen.setpoint).any():
        shapes.append(Line(*_steps(at, seen.setpoint), gap=3))
        key.append(("┄", "path", "setpoint"))
    if held and holding.good is not None:
        shapes += [Line(np.array([-span_s, 0.0]), np.full(2, edge), "good", gap=8) for edge in holding.good]
        key.append(("·", "good", "good range"))
    y = _around(robot, seen, held)
    shapes += _shots(stretch, end_s, y, key)
    if not wheel:
        shapes += _draws(at, seen.high, y, key)
    name, unit = ("Wheel", "rpm") if wheel else ("Draw", "mm")
    return Chart(f"{name} over {ended}", Axis(-span_s, 0.0, "s"), Axis(y.low, y.high, unit), tuple(shapes), tuple(key))


def _span(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 60 else f"{seconds / 60:g} min"


def _around(robot: Robot, seen: Stretch, held: bool) -> Axis:
    """Heights that hold the curve and its setpoint, some setpoint steps at least."""
    values = np.concatenate([seen.low, seen.high, seen.setpoint if held else []])
    return axis_around(values, 6 * robot.setpoint.step if held else 60.0)


def _upright(at: FloatArray, low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A curve that goes up and down between least and largest within each step."""
    return np.repeat(at, 2), np.column_stack([low, high]).ravel()


def _steps(at: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A curve that stays until it jumps."""
    x, y = np.repeat(at, 2)[1:], np.repeat(values, 2)[:-1]
    return x, y


def _shots(stretch: Stretch, end_s: float, y: Axis, key: list[tuple[str, Ink, str]]) -> list[Shape]:
    """Releases above the curve, and when the setpoint was reached again."""
    if not stretch.shots:
        return []
    shapes = _marks_of(stretch, end_s, y)
    key.append(("▼", "act", "shot"))
    back = [(s.time_s + s.recovery_s - end_s, s.setpoint) for s in stretch.shots if s.recovery_s and s.setpoint]
    if back:
        x, setpoint = np.array(back).T
        shapes.append(Marks(x, setpoint, "◇", "act"))
        key.append(("◇", "act", "recovered"))
    return shapes


def _draws(at: FloatArray, drawn: FloatArray, y: Axis, key: list[tuple[str, Ink, str]]) -> list[Shape]:
    """Where a draw begins."""
    begun = np.nan_to_num(drawn) > _STARTS_MM
    starts = at[1:][begun[1:] & ~begun[:-1]]
    if not len(starts):
        return []
    key.append(("△", "mark", "draw begins"))
    return [Marks(starts, np.full(len(starts), max(y.low, 0.0)), "△", "mark")]


@frozen
class Outlook:
    """What is expected of the battery: volts at rest now with one standard deviation, shots left and their 90 %."""

    rest_v: float | None = None
    rest_sd_v: float | None = None
    shots_left: float | None = None
    shots_left_90: tuple[float, float] | None = None
    least_v: float | None = None
    """Volts at rest at which the setpoint can't be held any more."""


def voltage_chart(stretch: Stretch, end_s: float, outlook: Outlook, ahead_s: float) -> Chart | None:
    """Voltage over the session, shots marked, and what is expected up to ``ahead_s`` from now; None without any."""
    seen = stretch.thinned(_STEPS)
    if not np.isfinite(seen.volts).any():
        return None
    minutes = (seen.time_s - end_s) / 60
    shapes: list[Shape] = [Line(minutes, seen.volts)]
    key: list[tuple[str, Ink, str]] = [("━", "path", "voltage")]
    values = [seen.volts]
    rest, sd = outlook.rest_v, outlook.rest_sd_v
    if rest is not None:
        ahead = ahead_s / 60
        fall = _fall(stretch, outlook, ahead)
        if fall is not None:
            low, middle, high = fall
            later = np.array([0.0, ahead])
            spread = 1.64 * (sd or 0.0)
            band = Band(later, np.array([rest - spread, low - spread]), np.array([rest + spread, high + spread]))
            shapes = [band, *shapes, Line(later, np.array([rest, middle]))]
            key += [("▒", "quiet", "forecast at rest, 90 %")]
            values.append(np.array([low - spread, high + spread]))
        shapes.append(Line(np.array([float(minutes[0]), 0.0]), np.full(2, rest), "quiet", gap=3))
        key.append(("┄", "quiet", "at rest now"))
        values.append(np.array([rest]))
    y = axis_around(np.concatenate(values), 0.5, "V")
    if outlook.least_v is not None:
        least = outlook.least_v
        if y.low - least < _NEAR * (y.high - y.low):
            y = axis_around(np.concatenate([*values, [least]]), 0.5, "V")
            shapes.append(Line(np.array([float(minutes[0]), ahead_s / 60]), np.full(2, least), "bad", gap=3))
            shapes.append(Words(ahead_s / 60, least, "too low for this setpoint", "bad", "end"))
        else:  # far below: it would press all the rest into a line
            shapes.append(Words(ahead_s / 60, y.low, f"▼ too low for this setpoint: {least:.1f} V", "quiet", "end"))
    x = Axis(float(minutes[0]), max(ahead_s / 60, 0.01), "min")
    shapes += _marks_of(stretch, end_s, y, _MINUTE_S)
    if stretch.shots:
        key.append(("▼", "act", "shot"))
    return Chart("Battery voltage over the session", x, y, tuple(shapes), tuple(key))


def _fall(stretch: Stretch, outlook: Outlook, ahead_min: float) -> tuple[float, float, float] | None:
    """Volts at rest after ``ahead_min`` minutes of shots at the session's rate: low, middle, high."""
    left, span = outlook.shots_left, outlook.shots_left_90
    if left is None or span is None or outlook.rest_v is None or outlook.least_v is None or len(stretch.time_s) < 2:
        return None
    minutes = (stretch.time_s[-1] - stretch.time_s[0]) / 60
    count = len(stretch.shots) / max(minutes, 1.0) * ahead_min
    room = outlook.rest_v - outlook.least_v
    if room <= 0:
        return None
    low, middle, high = (outlook.rest_v - room * min(1.5, count / max(n, 0.5)) for n in (span[0], left, span[1]))
    return low, middle, high


def level_chart(robot: Robot, before: Before, now: Before | None, taken: int) -> Chart | None:
    """What the distance of the recalibration needs, with the old battery and with this one: setpoint and how sure.

    A bar holds the setpoint that the target's centre needs with 90 %; the new battery's shrinks with every shot.
    """
    rows = [("before", before)] + ([("now", now)] if now is not None else [])
    known = [(name, one, one.setpoint) for name, one in rows if one.setpoint is not None]
    if not known:
        return None
    unit, decimals = robot.setpoint.unit, robot.setpoint.decimals
    at = np.arange(len(known))[::-1].astype(float)
    values = np.array([setpoint for _, _, setpoint in known])
    spans = np.array([one.setpoint_90 or (setpoint, setpoint) for _, one, setpoint in known])
    shapes: list[Shape] = [
        Bars(at[row : row + 1], spans[row, :1], spans[row, 1:], "mark", (_level_words(one, setpoint, unit, decimals),))
        for row, (_, one, setpoint) in enumerate(known)
    ]
    shapes.append(Marks(values, at, "◆", "act"))
    title = f"Recalibration at {how_far(before.distance_m)}, {counted(taken, 'shot')} so far"
    around = axis_around(np.append(spans, values), 6 * robot.setpoint.step)
    x = Axis(around.low, around.high + 0.8 * (around.high - around.low), unit)  # room for words behind the bars
    key: tuple[tuple[str, Ink, str], ...] = (("█", "mark", "needed, 90 % sure"), ("◆", "act", "recommended"))
    return Chart(title, x, rows_axis([name for name, _, _ in known]), tuple(shapes), key)


def _level_words(one: Before, setpoint: float, unit: str, decimals: int) -> str:
    sure = ""
    if one.setpoint_90 is not None:
        low, high = one.setpoint_90
        sure = f" ± {(high - low) / 2:.{decimals}f}"
    return f"{setpoint:.{decimals}f}{sure} {unit}" + (
        "" if one.chance is None else f", scores {100 * one.chance:.0f} %"
    )


def current_chart(stretch: Stretch, end_s: float) -> Chart | None:
    """Current over the session; None where the line doesn't say it."""
    seen = stretch.thinned(_STEPS)
    if not np.isfinite(seen.amps).any():
        return None
    minutes = (seen.time_s - end_s) / 60
    y = axis_around(np.append(seen.amps, 0.0), 1.0, "A")
    shapes: tuple[Shape, ...] = (Line(minutes, seen.amps), *_marks_of(stretch, end_s, y, _MINUTE_S))
    x = Axis(float(minutes[0]), max(float(minutes[-1]), float(minutes[0]) + 0.01), "min")
    return Chart("Current over the session", x, y, shapes, (("━", "path", "current"), ("▼", "act", "shot")))


def _marks_of(stretch: Stretch, end_s: float, y: Axis, unit_s: float = 1.0) -> list[Shape]:
    """Releases above a curve over time, in units of so many seconds."""
    at = np.array([(shot.time_s - end_s) / unit_s for shot in stretch.shots])
    return [Marks(at, np.full(len(at), y.low + 0.97 * (y.high - y.low)), "▼", "act")] if len(at) else []
