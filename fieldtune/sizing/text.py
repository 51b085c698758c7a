"""Sizing figures as readable lines for the command line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from fieldtune.figures import FIGURES, figures_of
from fieldtune.plain_text import columns, pairs
from fieldtune.sizing.cautions import cautions
from fieldtune.sizing.decision import CRITERIA
from fieldtune.sizing.results import (
    CockingChoice,
    FlywheelSize,
    GearChoice,
    Size,
    SpringChoice,
)

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.compare import Comparison


def size_text(robot: Robot, size: Size) -> str:
    """The figures, the choices as a table, what is missing, and the cautions; several lines of plain text."""
    body = pairs((figure.label, figure.said(value), figure.meaning) for figure, value in figures_of(size))
    if isinstance(size, FlywheelSize):
        body += ["", *_gear_table(size.choices)]
    else:
        body += ["", *_cocking_table(size.choices), "", *_spring_table(size.springs)]
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
    rows = [
        [f"{distance:.2f} m", *(hit_chance.said(m.hit[k]) for m in mechanisms)]
        for k, distance in enumerate(mechanisms[0].distances_m)
    ]
    return ["hit chance from", *(m.name for m in mechanisms)], rows


def compare_text(comparison: Comparison) -> str:
    """Mechanisms side by side with the weighted scores, and what the decision rests on; several lines of plain text."""
    head, rows = decision_table(comparison)
    rows.append(["usually handles", *(", ".join(m.shapes) for m in comparison.mechanisms), ""])
    return "\n".join(
        [*_indented(columns(head, rows)), "", *_indented(columns(*hit_table(comparison))), "", *comparison.words]
    )


def _gear_table(choices: Sequence[GearChoice]) -> list[str]:
    if not choices:
        return []
    rows = [
        [
            _gears(c.gears),
            f"{c.reduction:.2f}",
            _plain(c.stall_torque_nm, 2),
            _plain(c.ceiling_rpm_low),
            _plain(c.spin_up_s, 2),
            _plain(c.recovery_s, 3),
            _plain(c.farthest_m, 1),
            _marks(c),
        ]
        for c in choices
    ]
    head = ["gears", "reduction", "torque N m", "ceiling rpm", "spin-up s", "recovery s", "farthest m", ""]
    return _indented(columns(head, rows))


def _cocking_table(choices: Sequence[CockingChoice]) -> list[str]:
    if not choices:
        return []
    rows = [
        [
            _gears(c.gears),
            f"{c.reduction:.2f}",
            _plain(c.torque_margin, 2),
            _plain(c.longest_draw_mm),
            _plain(c.cock_time_s, 2),
            _plain(c.farthest_m, 1),
            _marks(c),
        ]
        for c in choices
    ]
    return _indented(columns(["gears", "reduction", "margin", "draw mm", "to cock s", "farthest m", ""], rows))


def _spring_table(choices: Sequence[SpringChoice]) -> list[str]:
    if not choices:
        return []
    rows = [
        [
            f"{c.spring_rate_n_per_mm:.3g}",
            _plain(c.draw_mm),
            _plain(c.force_max_n),
            _plain(c.exit_speed_max_mps, 1),
            _plain(c.farthest_m, 1),
            _plain(c.torque_margin, 2),
            _plain(c.stop_energy_j, 2),
            _marks(c),
        ]
        for c in choices
    ]
    return _indented(
        columns(["spring N/mm", "draw mm", "force N", "exit m/s", "farthest m", "margin", "stop J", ""], rows)
    )


def _marks(choice: GearChoice | CockingChoice | SpringChoice) -> str:
    words = [w for w, on in (("best", choice.best), ("present", choice.present)) if on]
    return ", ".join(words)


def _gears(stages: Sequence[tuple[int, int]]) -> str:
    return "  ".join(f"{a}:{b}" for a, b in stages) or "direct"


def _plain(value: float | None, digits: int = 0) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


def _indented(lines: Iterable[str]) -> list[str]:
    return [f"  {line}" for line in lines]
