"""The pit sheet: one HTML file without scripts or links to anywhere, for the two sides of one sheet of A4 or Letter.

The notebook adds pages with residuals, the shot log and a decision table.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import svg
from markupsafe import Markup

from fieldtune.figures import FIGURES
from fieldtune.frozen import frozen
from fieldtune.person_units import converted, digits_of, feet_inches, how_far, unit
from fieldtune.plain_text import local_time
from fieldtune.session import Session
from fieldtune.share.path_svg import inline, picture
from fieldtune.share.sheet_back import gather_back
from fieldtune.share.sheet_contents import CAUTION_MOST, FACT_MOST, LONG_TITLE, gather
from fieldtune.share.templating import filled, one_line, today
from fieldtune.share.why import why
from fieldtune.sizing.compare import compare
from fieldtune.sizing.text import decision_table, hit_table

if TYPE_CHECKING:
    from fieldtune.aim.results import Learned, Residual
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot


def sheet(
    session: Session,
    battery_v: float | None = None,
    target: str | None = None,
    long: bool = False,
    others: Sequence[Session] = (),
    explain: bool = False,
) -> str:
    """The sheet as HTML text, front and back. ``long`` adds the notebook's pages: residuals, shot log, decision among
    ``others``; ``explain`` a page for teaching: the parabola against reality, and where the energy goes.

    Raises ``OutOfReachError`` where the robot scores from nowhere.
    """
    parts = gather(session, battery_v, target)
    decimals = session.robot.setpoint.decimals
    return filled(
        "sheet.html.j2",
        title=one_line(parts.robot.title, 90),
        date=today(session),
        parts=parts,
        heading=parts.robot.launcher.mechanism.heading,
        unit=session.robot.setpoint.unit,
        battery_v=battery_v,
        figures=FIGURES,
        back=gather_back(session, battery_v, target),
        why=why(session, parts.pictures[len(parts.pictures) // 2].aim.distance_m, battery_v, target)
        if explain and parts.pictures
        else None,
        notebook=notebook(session, parts.learned, others) if long else None,
        fact_most=FACT_MOST,
        caution_most=CAUTION_MOST,
        long_title=LONG_TITLE,
        picture=lambda shown: picture(
            shown.scene, f"predicted path from {how_far(shown.aim.distance_m)}, with the band that holds 90 % of shots"
        ),
        setpoint=lambda value: f"{value:.{decimals}f}",
        feet_inches=feet_inches,
        how_far=how_far,
        small_unit=unit("cm"),
    )


_WIDTH, _HEIGHT = 180.0, 60.0
"""Size of the plot of residuals, millimetres on paper."""
_SURPRISE = 0.05
"""Shots with a smaller chance of one at least as odd are named."""

Table = tuple[Sequence[str], Sequence[Sequence[str]]]
"""Head and rows."""


@frozen
class Notebook:
    """What the further pages show; ``plot`` is an SVG element, None where nothing was measured."""

    plot: Markup | None
    residual_words: tuple[str, ...]
    log_head: tuple[str, ...]
    log: tuple[tuple[str, ...], ...]
    decision: tuple[Table, ...]
    decision_words: tuple[str, ...]


def notebook(session: Session, learned: Learned, others: Sequence[Session] = ()) -> Notebook:
    """The further pages; ``others``: sessions of robots to weigh this one against."""
    robot = session.robot
    measured = [r for r in learned.residuals if r.miss_m is not None]
    weighed = None
    different = [other for other in others if other.robot.name != robot.name]
    if different:
        sessions = [session, *different]
        weighed = compare([s.robot for s in sessions], {s.robot.name: s.launcher_belief for s in sessions})
    far = unit("m")
    head = ("shot", "time", f"distance ({far})", f"setpoint ({robot.setpoint.unit})", "result",
            f"miss ({far})", f"side ({far})", "speed", "battery (V)", "battery period", "note")  # fmt: skip
    return Notebook(
        plot=_plot(measured) if measured else None,
        residual_words=_residual_words(learned, len(measured)),
        log_head=head,
        log=tuple(_log_row(robot, shot) for shot in session.log.shots()),
        decision=(decision_table(weighed), hit_table(weighed)) if weighed is not None else (),
        decision_words=weighed.words if weighed is not None else (),
    )


def _residual_words(learned: Learned, measured: int) -> tuple[str, ...]:
    along = f"{len(learned.residuals)} say how far they went"
    words = f"Of {learned.shots_used} shots used {along}, {measured} by a measured miss; {learned.drift.words}."
    odd = [r for r in learned.residuals if r.surprise < _SURPRISE]
    if not odd:
        return (words,)
    names = ", ".join(f"{r.shot} ({100 * r.surprise:.0f} %)" for r in odd[:12])
    return words, f"Surprising shots, with the chance of one at least as odd: {names}."


def _plot(residuals: Sequence[Residual]) -> Markup:
    """Residuals by shot number, centimetres or inches; odd ones filled."""
    off = [
        (r.shot, converted(100 * ((r.miss_m or 0.0) - r.expected_miss_m), "cm"), r.surprise < _SURPRISE)
        for r in residuals
    ]
    most = max(5.0, *(abs(value) for _, value, _ in off)) * 1.1
    first, last = min(n for n, _, _ in off), max(n for n, _, _ in off)
    left, right, middle = 14.0, _WIDTH - 3, _HEIGHT / 2 - 2

    def x(shot: int) -> float:
        return left + 4 + (shot - first) / max(last - first, 1) * (right - left - 8)

    def y(value: float) -> float:
        return middle - value / most * (middle - 2)

    def text(at: float, down: float, words: str, anchor: svg.EventValue | str) -> svg.Text:
        return svg.Text(x=at, y=down, text=words, font_size=3, text_anchor=anchor)  # type: ignore[arg-type]

    parts: list[svg.Element] = [
        svg.Rect(x=left, y=2, width=right - left, height=2 * middle - 4, fill="none", stroke="#000", stroke_width=0.25),
        svg.Line(x1=left, y1=middle, x2=right, y2=middle, stroke="#000", stroke_width=0.3),
    ]
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 10000) if most / s <= 4)
    for k in range(-int(most / step), int(most / step) + 1):
        parts.append(svg.Line(x1=left - 1, y1=y(k * step), x2=left, y2=y(k * step), stroke="#000", stroke_width=0.25))
        parts.append(text(left - 1.6, y(k * step) + 1, f"{k * step:+d} {unit('cm')}" if k else "0", "end"))
    for shot, value, odd in off:
        fill = "#000" if odd else "#fff"
        parts.append(svg.Circle(cx=x(shot), cy=y(value), r=1.1, fill=fill, stroke="#000", stroke_width=0.35))
    for shot in sorted({first, last}):
        parts.append(text(x(shot), 2 * middle + 2.5, f"shot {shot}", "middle"))
    title = svg.Title(text="measured less expected miss, by shot")
    return inline(svg.SVG(viewBox=svg.ViewBoxSpec(0, 0, _WIDTH, _HEIGHT), elements=[title, *parts]).as_str())


def _log_row(robot: Robot, shot: Shot) -> tuple[str, ...]:
    notes = ["undone"] if shot.undone else [f"left out: {shot.excluded}"] if shot.excluded is not None else []
    notes += [f"match {shot.match}"] if shot.match else []
    notes += [f"batch {shot.batch}"] if shot.batch else []
    notes += [words for words in (shot.target, f"from {shot.origin}" if shot.origin else None) if words]
    return (
        str(shot.shot), local_time(shot.time), digits_of(shot.distance_m, "m", 2),
        f"{shot.setpoint:.{robot.setpoint.decimals}f}", shot.result or "–", _signed(shot.miss_m), _signed(shot.side_m),
        "–" if shot.speed is None else f"{shot.speed:.0f}", "–" if shot.battery_v is None else f"{shot.battery_v:.1f}",
        str(shot.epoch), one_line("; ".join(notes), 60),
    )  # fmt: skip


def _signed(value: float | None) -> str:
    return "–" if value is None else digits_of(value, "m", 2, signed=True)
