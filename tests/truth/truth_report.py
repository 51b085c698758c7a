"""Sums up scores in text and picture: share of the oracle's hits with intervals, battery change, calibration."""

from __future__ import annotations

import numpy as np
import svg
from truth_trial import COUNTS, JUMPS, Score

GOALS = {
    False: {"3": 0.60, "5": 0.75, "10": 0.90, "20": 0.95},
    True: {"3": 0.75, "5": 0.85, "10": 0.93, "20": 0.97},
}
LABELS = {
    "fieldtune": "fieldtune", "table": "hand-corrected table", "quadratic": "hand quadratic", "paper": "paper only",
}  # fmt: skip
MODES = {False: "only in, short or long seen", True: "misses measured to 5 cm"}


def interval(values: list[float], rng: np.random.Generator) -> tuple[float, float, float]:
    """Mean and its 95 % bootstrap interval over robots."""
    data = np.array(values)
    means = data[rng.integers(0, len(data), (2000, len(data)))].mean(axis=1)
    return float(data.mean()), float(np.quantile(means, 0.025)), float(np.quantile(means, 0.975))


def pick(scores: list[Score], player: str, measured: bool, key: str, kind: str = "") -> list[float]:
    return [
        s.shares[key]
        for s in scores
        if s.player == player and s.measured == measured and key in s.shares and s.kind.startswith(kind)
    ]


def text(scores: list[Score]) -> str:
    """The whole report as text."""
    lines = []
    players = list(dict.fromkeys(s.player for s in scores))
    keys = [k for k in map(str, COUNTS) if any(k in s.shares for s in scores)]
    for measured in sorted({s.measured for s in scores}):
        lines += ["", f"Share of the oracle's hits, {MODES[measured]} (mean, 95 % interval over robots)"]
        lines.append("shots      " + "".join(f"{k:>20}" for k in keys))
        for player in players:
            cells = [_cell(pick(scores, player, measured, k)) for k in keys]
            lines.append(f"{player:11}" + "".join(f"{c:>20}" for c in cells))
        lines.append(f"{'goal':11}" + "".join(f"{GOALS[measured].get(k, ''):>20}" for k in keys))
        for kind in sorted({s.kind for s in scores}):
            cells = [f"{np.mean(v):.2f}" if (v := pick(scores, players[0], measured, k, kind)) else "" for k in keys]
            lines.append(f"  {kind:18}" + " ".join(f"{c:>5}" for c in cells))
        lines += _swap_lines(scores, players, measured) + _claim_lines(scores, measured)
    return "\n".join(lines)


def _cell(values: list[float]) -> str:
    mean, low, high = interval(values, np.random.default_rng(1))
    return f"{mean:.3f} ({low:.2f}-{high:.2f})"


def _swap_lines(scores: list[Score], players: list[str], measured: bool) -> list[str]:
    lines = []
    for jump, (low, high) in JUMPS.items():
        off = f"{100 * low:.0f}-{100 * high:.0f} % off"
        lines.append(f"battery change after 20 shots (level {off}), share after 0, 1, 2, 3 shots:")
        for player in players:
            cells = [_cell(v) for k in range(4) if (v := pick(scores, player, measured, f"{jump}{k}"))]
            lines.append(f"{player:11}" + "".join(f"{c:>20}" for c in cells))
    return lines


def _claim_lines(scores: list[Score], measured: bool) -> list[str]:
    lines = ["calibration: shots | 90 % interval holds the truth | claimed - true (mean) | true below / above"]
    keys = list(dict.fromkeys(k for s in scores for k in s.claims))
    for key in keys:
        rows = [row for s in scores if s.measured == measured for row in s.claims.get(key, [])]
        if rows:
            p, low, high, true = np.array(rows).T
            slack = 0.005
            below, above = np.mean(true < low - slack), np.mean(true > high + slack)
            lines.append(f"  {key:>6} {1 - below - above:8.2f} {np.mean(p - true):+12.3f} {below:10.2f} / {above:.2f}")
    return lines


COLOURS = {"fieldtune": "#0b5cad", "table": "#b35900", "quadratic": "#6b6b6b", "paper": "#a0a0a0"}
DASHES = {"fieldtune": None, "table": [7.0, 4.0], "quadratic": [2.0, 3.0], "paper": [1.0, 5.0]}


def _curve(points: list[float], player: str) -> svg.Polyline:
    return svg.Polyline(
        points=points, fill="none", stroke=COLOURS[player], stroke_width=2.5, stroke_dasharray=DASHES[player]
    )


def picture(scores: list[Score]) -> str:
    """An SVG: share of the oracle's hits by shots, both ways of looking side by side."""
    width, height, left, top, wide, tall = 860, 360, 60, 46, 330, 250
    parts: list[svg.Element] = [svg.Rect(x=0, y=0, width=width, height=height, fill="white")]
    keys = [str(c) for c in COUNTS if c > 0 and any(str(c) in s.shares for s in scores)]
    for panel, measured in enumerate(sorted({s.measured for s in scores})):
        x0 = left + panel * (wide + 60)
        parts.append(_label(x0, top - 16, MODES[measured].capitalize(), size=14))
        for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
            y = top + tall * (1 - share)
            parts.append(svg.Line(x1=x0, x2=x0 + wide, y1=y, y2=y, stroke="#dddddd"))
            parts.append(_label(x0 - 34, y + 4, f"{share:.0%}"))
        across = [x0 + wide * np.log(float(k)) / np.log(float(keys[-1])) for k in keys]
        for x, key in zip(across, keys, strict=True):
            parts.append(_label(x - 5, top + tall + 18, key))
        parts.append(_label(x0 + wide / 2 - 40, top + tall + 38, "confirmed shots"))
        for row, player in enumerate(p for p in LABELS if pick(scores, p, measured, keys[0])):
            stats = [interval(pick(scores, player, measured, k), np.random.default_rng(1)) for k in keys]
            if player == "fieldtune":
                band = [(x, top + tall * (1 - s[2])) for x, s in zip(across, stats, strict=True)]
                band += [(x, top + tall * (1 - s[1])) for x, s in zip(across[::-1], stats[::-1], strict=True)]
                parts.append(svg.Polygon(points=[v for p in band for v in p], fill="#0b5cad", fill_opacity=0.15))
            line = [v for x, s in zip(across, stats, strict=True) for v in (x, top + tall * (1 - s[0]))]
            parts.append(_curve(line, player))
            y = top + tall - 14 - 18 * (3 - row)
            sample = [x0 + wide - 175, y - 4, x0 + wide - 145, y - 4]
            parts.append(_curve(sample, player))
            parts.append(_label(x0 + wide - 138, y, LABELS[player]))
    return str(svg.SVG(width=width, height=height, viewBox=svg.ViewBoxSpec(0, 0, width, height), elements=parts))


def _label(x: float, y: float, words: str, size: int = 12) -> svg.Text:
    return svg.Text(x=x, y=y, text=words, font_size=size, font_family="sans-serif", fill="#222222")
