"""Sizing figures as readable lines for the command line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from fieldtune.figures import FIGURES, figures_of
from fieldtune.person_units import amount, how_far, size
from fieldtune.physics.springs import WIRES
from fieldtune.plain_text import columns, pairs
from fieldtune.sizing.cautions import cautions
from fieldtune.sizing.decision import CRITERIA

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.compare import Comparison
    from fieldtune.sizing.results import Size
    from fieldtune.sizing.spring_choice import SpringNeed, SpringPick


def size_text(robot: Robot, size: Size) -> str:
    """The figures, the choices as a table, what is missing, and the cautions; several lines of plain text."""
    body = pairs((figure.label, figure.said(value), figure.meaning) for figure, value in figures_of(size))
    for head, rows in size.tables:
        body += ["", *_indented(columns(head, rows))]
    notes = [f"note: {note}" for note in size.notes]
    return "\n".join([f"{robot.name}: {robot.title}", *body, *notes, "", *cautions(robot)]).replace("\n\n\n", "\n\n")


def spring_text(need: SpringNeed, picks: Sequence[SpringPick]) -> list[str]:
    """Springs for a need: what it is, the best in words, all as a table."""
    finish = "shot-peened " if need.shot_peened else ""
    best = next(pick for pick in picks if pick.best)
    lengths = f"free length {size(best.free_length_mm, 0)}"
    if best.solid_length_mm is not None:
        lengths += f", solid length {size(best.solid_length_mm, 0)}"
    if best.initial_tension_n is not None:
        lengths += f" inside the hooks, initial tension {amount(best.initial_tension_n, 'N', 1)}"
    head = ["wire mm", "outside mm", "index", "active", "turns", "free mm", "solid mm", "yields at", "breaks after",
            "mass g", ""]  # fmt: skip
    rows = [
        [
            f"{p.wire_mm:.3g}", f"{p.outside_mm:.1f}", f"{p.index:.1f}", f"{p.active_turns:.1f}",
            f"{p.total_turns:.1f}", f"{p.free_length_mm:.0f}",
            "-" if p.solid_length_mm is None else f"{p.solid_length_mm:.0f}", f"{p.safety:.2f} ×",
            FIGURES["spring_life_cycles"].said(p.life_cycles), f"{p.mass_g:.1f}",
            ", ".join(word for word, on in (("best", p.best), ("guide it", p.guide)) if on),
        ]
        for p in picks
    ]  # fmt: skip
    guided = ["'guide it': it buckles unless a rod or a tube guides it"] if any(p.guide for p in picks) else []
    return [
        f"{need.kind} spring of {finish}{WIRES[need.material].name} ({need.material}): "
        f"{amount(need.preload_n, 'N')} at rest, {amount(need.load_n, 'N')} after {size(1000 * need.travel_m)} of "
        f"travel, {amount(need.energy, 'J')}",
        f"best: wire {size(best.wire_mm)}, mean coil diameter {size(best.coil_mm, 1)}, {best.active_turns:.1f} active "
        f"of {best.total_turns:.1f} turns, {lengths}, rate {amount(best.rate_n_per_mm, 'N/mm')}",
        *_indented(columns(head, rows)),
        "calculated for a free moving spring at room temperature; try one and measure it before it is built in",
        *guided,
    ]


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
