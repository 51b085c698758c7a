"""Sizing figures as readable lines for the command line."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from fieldtune.figures import FIGURES, figures_of
from fieldtune.person_units import how_far
from fieldtune.plain_text import columns, pairs
from fieldtune.sizing.cautions import cautions
from fieldtune.sizing.decision import CRITERIA

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.compare import Comparison
    from fieldtune.sizing.results import Size


def size_text(robot: Robot, size: Size) -> str:
    """The figures, the choices as a table, what is missing, and the cautions; several lines of plain text."""
    body = pairs((figure.label, figure.said(value), figure.meaning) for figure, value in figures_of(size))
    for head, rows in size.tables:
        body += ["", *_indented(columns(head, rows))]
    notes = [f"note: {note}" for note in size.notes]
    return "\n".join([f"{robot.name}: {robot.title}", *body, *notes, "", *cautions(robot)]).replace("\n\n\n", "\n\n")


def decision_table(comparison: Comparison) -> tuple[list[str], list[list[str]]]:
    """Head and rows of the weighted decision, a column a mechanism between what counts and its weight."""
    mechanisms, decision = comparison.mechanisms, comparison.decision
    rows = [
        [
            FIGURES[c.name].label,
            *(FIGURES[c.name].said(m.figures[c.name]) for m in mechanisms),
            f"{100 * decision.weights.get(c.name, 0.0):.0f} %",
        ]
        for c in CRITERIA
    ]
    rows.append(["weighted score", *(f"{decision.totals[m.name]:.2f}" for m in mechanisms), ""])
    return ["what counts", *(m.name for m in mechanisms), "weight"], rows


def hit_table(comparison: Comparison) -> tuple[list[str], list[list[str]]]:
    """Head and rows of the hit chance over distance."""
    mechanisms, hit_chance = comparison.mechanisms, FIGURES["hit_probability"]
    most = max(len(m.hit) for m in mechanisms)
    rows = [
        [str(k + 1), *(f"{hit_chance.said(m.hit[k])} at {how_far(m.distances_m[k])}" if k < len(m.hit) else ""
                       for m in mechanisms)]
        for k in range(most)
    ]  # fmt: skip
    return ["hit chance from", *(m.name for m in mechanisms)], rows


def compare_text(comparison: Comparison) -> str:
    """Mechanisms side by side with the weighted scores, and what the decision rests on; several lines of plain text."""
    head, rows = decision_table(comparison)
    rests = ["profile alone" if m.shots_used == 0 else f"{m.shots_used} shots" for m in comparison.mechanisms]
    rows.append(["rests on", *rests, ""])
    rows.append(["usually handles", *(", ".join(m.shapes) for m in comparison.mechanisms), ""])
    return "\n".join(
        [*_indented(columns(head, rows)), "", *_indented(columns(*hit_table(comparison))), "", *comparison.words]
    )


def _indented(lines: Iterable[str]) -> list[str]:
    return [f"  {line}" for line in lines]
