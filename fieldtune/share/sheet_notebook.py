"""The pit sheet's further pages, for the team's notebook: residuals, the shot log, and the decision table."""

from __future__ import annotations

import html
from collections.abc import Sequence

import svg

from fieldtune.aim.results import Learned, Residual
from fieldtune.records import Shot
from fieldtune.robot.model import Robot
from fieldtune.session import Session
from fieldtune.share.page_words import line, setpoint_text, tag
from fieldtune.share.path_svg import inline
from fieldtune.sizing.compare import Comparison, compare
from fieldtune.sizing.text import decision_table, hit_table

_WIDTH, _HEIGHT = 180.0, 60.0


def notebook(session: Session, learned: Learned, others: Sequence[Robot] = ()) -> str:
    """The further pages as HTML; ``others``: robots to weigh this one against."""
    parts = [_residuals(learned), _log(session)]
    different = [robot for robot in others if robot.name != session.robot.name]
    if different:
        beliefs = {session.robot.name: session.belief} if learned.shots_used else {}
        parts.append(_decision(compare([session.robot, *different], beliefs=beliefs)))
    return tag("div", "\n".join(parts), "more")


def _residuals(learned: Learned) -> str:
    measured = [r for r in learned.residuals if r.miss_m is not None]
    odd = [r for r in learned.residuals if r.surprise < 0.05]
    along, drift = f"{len(learned.residuals)} say how far they went", learned.drift.words
    words = [f"Of {learned.shots_used} shots used {along}, {len(measured)} by a measured miss; {drift}."]
    if odd:
        names = ", ".join(f"{r.shot} ({100 * r.surprise:.0f} %)" for r in odd[:12])
        words.append(f"Surprising shots, with the chance of one at least as odd: {names}.")
    text = "".join(tag("p", html.escape(w)) for w in words)
    plot = _plot(measured) if measured else ""
    return f"<h2>What is left over: measured miss less the expected one</h2>{plot}{text}"


def _plot(residuals: Sequence[Residual]) -> str:
    """Residuals by shot number, centimetres; odd ones filled."""
    off = [(r.shot, 100 * ((r.miss_m or 0.0) - r.expected_miss_m), r.surprise < 0.05) for r in residuals]
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
        parts.append(text(left - 1.6, y(k * step) + 1, f"{k * step:+d} cm" if k else "0", "end"))
    for shot, value, odd in off:
        fill = "#000" if odd else "#fff"
        parts.append(svg.Circle(cx=x(shot), cy=y(value), r=1.1, fill=fill, stroke="#000", stroke_width=0.35))
    for shot in sorted({first, last}):
        parts.append(text(x(shot), 2 * middle + 2.5, f"shot {shot}", "middle"))
    title = svg.Title(text="measured less expected miss, by shot")
    return inline(svg.SVG(viewBox=svg.ViewBoxSpec(0, 0, _WIDTH, _HEIGHT), elements=[title, *parts]).as_str())


def _log(session: Session) -> str:
    robot, shots = session.robot, session.log.shots()
    if not shots:
        return "<h2>Shot log</h2><p>No shots yet.</p>"
    head = ("shot", "time (UTC)", "distance (m)", f"setpoint ({robot.setpoint.unit})", "result", "miss (m)", "side (m)",
            "speed", "battery (V)", "epoch", "note")  # fmt: skip
    cells = "".join(f'<th scope="col">{html.escape(words)}</th>' for words in head)
    rows = "".join(_log_row(robot, shot) for shot in shots)
    return f'<h2>Shot log</h2><table class="log"><thead><tr>{cells}</tr></thead><tbody>{rows}</tbody></table>'


def _log_row(robot: Robot, shot: Shot) -> str:
    notes = ["taken back"] if shot.undone else [f"left out: {shot.excluded}"] if shot.excluded is not None else []
    notes += [words for words in (shot.target, f"from {shot.origin}" if shot.origin else None) if words]
    cells = [
        str(shot.shot), shot.time[:19].replace("T", " "), f"{shot.distance_m:.2f}",
        setpoint_text(robot, shot.setpoint, False), shot.result or "–", _signed(shot.miss_m), _signed(shot.side_m),
        "–" if shot.speed is None else f"{shot.speed:.0f}", "–" if shot.battery_v is None else f"{shot.battery_v:.1f}",
        str(shot.epoch),
    ]  # fmt: skip
    note = tag("td", html.escape(line("; ".join(notes), 60)), "words")
    return tag("tr", "".join(tag("td", html.escape(cell)) for cell in cells) + note)


def _signed(value: float | None) -> str:
    return "–" if value is None else f"{value:+.2f}"


def _decision(comparison: Comparison) -> str:
    tables = "".join(_table(*table) for table in (decision_table(comparison), hit_table(comparison)))
    words = "".join(tag("p", html.escape(w)) for w in comparison.words)
    return f"<h2>Decision table</h2>{tables}{words}"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    cells = "".join(f'<th scope="col">{html.escape(words)}</th>' for words in head)
    body = "".join(tag("tr", "".join(tag("td", html.escape(cell)) for cell in row)) for row in rows)
    return f'<table class="log"><thead><tr>{cells}</tr></thead><tbody>{body}</tbody></table>'
