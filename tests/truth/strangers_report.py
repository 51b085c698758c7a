"""Sums up what ``strangers`` played: shares with standard errors, next against rotation, claims; and a picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import svg

if TYPE_CHECKING:
    from strangers import Play

GROUPS = {"all flywheels": ("flywheel", "open loop"), "strikers and arms": ("striker", "arm")}
# Share of the oracle's hits after 3, 5, 10 and 20 shots that is aimed at.
GOALS = {
    ("all flywheels", False, "rotation"): (0.66, 0.80, 0.90, 0.95),
    ("all flywheels", False, "next"): (0.72, 0.85, 0.93, 0.96),
    ("all flywheels", True, "rotation"): (0.82, 0.88, 0.94, 0.97),
    ("all flywheels", True, "next"): (0.86, 0.92, 0.95, 0.97),
    ("strikers and arms", False, "rotation"): (0.93, 0.96, 0.97, 0.99),
    ("strikers and arms", False, "next"): (0.95, 0.97, 0.98, 0.99),
    ("strikers and arms", True, "rotation"): (0.96, 0.99, 0.99, 1.0),
    ("strikers and arms", True, "next"): (0.97, 0.99, 1.0, 1.0),
}


def chosen(plays: Sequence[Play], kinds: Sequence[str], measured: bool, manner: str) -> list[Play]:
    """Plays of some kinds in one manner, by kind and number."""
    found = [p for p in plays if p.kind in kinds and p.measured == measured and p.manner == manner]
    return sorted(found, key=lambda p: (p.kind, p.number))


def table(plays: list[Play], who: str) -> np.ndarray:
    """Shares (plays, counts) of ``product`` or ``ideal``."""
    return np.array([list(getattr(play, who).values()) for play in plays])


def _cells(values: np.ndarray, form: str = "{:.3f}") -> str:
    error = values.std(axis=0, ddof=1) / np.sqrt(len(values)) if len(values) > 1 else np.zeros(values.shape[1])
    return "  ".join(f"{form.format(m)} ±{e:.3f}" for m, e in zip(values.mean(axis=0), error, strict=True))


def text(plays: list[Play]) -> str:
    """The whole report as text."""
    counts = list(plays[0].product)
    lines = ["Share of the oracle's hits (mean ± standard error) after " + ", ".join(counts) + " shots"]
    each = {kind: (kind,) for kinds in GROUPS.values() for kind in kinds}
    for group, kinds in {**GROUPS, **each}.items():
        for measured in (False, True):
            rotation, following = (chosen(plays, kinds, measured, m) for m in ("rotation", "next"))
            if not rotation:
                continue
            lines.append(f"\n{group}, {len(rotation)} robots, {'misses taped' if measured else 'told in words'}")
            for manner, some in (("rotation", rotation), ("next", following)):
                lines.append(f"  {manner:22}{_cells(table(some, 'product'))}")
                if all(play.ideal for play in some):
                    lines.append(f"  {'  ideal, same shots':22}{_cells(table(some, 'ideal'))}")
                if goal := GOALS.get((group, measured, manner)):
                    lines.append(f"  {'  goal (3, 5, 10, 20)':22}" + "  ".join(f"{g:.2f}" for g in goal))
                claims = np.array([list(play.claims.values()) for play in some])
                lines.append(f"  {'  claimed - achieved':22}{_cells(claims[:, :, 0] - claims[:, :, 1], '{:+.3f}')}")
            gain = table(following, "product") - table(rotation, "product")
            lines.append(f"  {'next - rotation':22}{_cells(gain, '{:+.3f}')}")
    return "\n".join(lines)


_STYLES = {"rotation": ("#0b5cad", None), "next": ("#b35900", None), "ideal": ("#6b6b6b", [5.0, 4.0])}
_LABELS = {"rotation": "spots in rotation", "next": "shots that next names", "ideal": "ideal learner, in rotation"}


def picture(plays: list[Play]) -> str:
    """An SVG of four panels: flywheels, strikers and arms; told in words, and taped."""
    wide, tall, left, top = 330, 200, 60, 46
    parts: list[svg.Element] = [svg.Rect(x=0, y=0, width=860, height=610, fill="white")]
    counts = list(plays[0].product)
    for row, (group, kinds) in enumerate(GROUPS.items()):
        for column, measured in enumerate((False, True)):
            x0, y0 = left + column * (wide + 60), top + row * (tall + 80)
            head = f"{group.capitalize()}, {'misses taped to 5 cm' if measured else 'told in words'}"
            parts.append(_label(x0, y0 - 16, head, 14))
            for share in (0.5, 0.6, 0.7, 0.8, 0.9, 1.0):
                y = y0 + tall * (1 - (share - 0.5) * 2)
                parts.append(svg.Line(x1=x0, x2=x0 + wide, y1=y, y2=y, stroke="#dddddd"))
                parts.append(_label(x0 - 34, y + 4, f"{share:.0%}"))
            first, last = np.log(float(counts[0])), np.log(float(counts[-1]))
            across = [x0 + wide * (np.log(float(c)) - first) / (last - first) for c in counts]
            parts += [_label(x - 5, y0 + tall + 18, c) for x, c in zip(across, counts, strict=True)]
            parts.append(_label(x0 + wide / 2 - 40, y0 + tall + 38, "confirmed shots"))
            for place, (name, (colour, dash)) in enumerate(_STYLES.items()):
                some = chosen(plays, kinds, measured, "next" if name == "next" else "rotation")
                means = table(some, "ideal" if name == "ideal" else "product").mean(axis=0)
                heights = [y0 + tall * (1 - (max(m, 0.5) - 0.5) * 2) for m in means]
                line = [v for point in zip(across, heights, strict=True) for v in point]
                style = {"fill": "none", "stroke": colour, "stroke_width": 2.5, "stroke_dasharray": dash}
                parts.append(svg.Polyline(points=line, **style))
                y = y0 + tall - 14 - 18 * place
                parts.append(svg.Polyline(points=[x0 + wide - 195, y - 4, x0 + wide - 165, y - 4], **style))
                parts.append(_label(x0 + wide - 158, y, _LABELS[name]))
    return str(svg.SVG(width=860, height=610, viewBox=svg.ViewBoxSpec(0, 0, 860, 610), elements=parts))


def _label(x: float, y: float, words: str, size: int = 12) -> svg.Text:
    return svg.Text(x=x, y=y, text=words, font_size=size, font_family="sans-serif", fill="#222222")
