"""Sizing figures as readable lines for the command line."""

from __future__ import annotations

from collections.abc import Sequence

from fieldtune.robot.model import Robot
from fieldtune.sizing.cautions import cautions
from fieldtune.sizing.compare import CRITERIA, Comparison
from fieldtune.sizing.results import (
    FASTER_THAN_FEEDING,
    CockingChoice,
    CockingSize,
    FlywheelSize,
    GearChoice,
    Size,
    SpringChoice,
)


def size_text(robot: Robot, size: Size) -> str:
    """The figures, the choices as a table, what is missing, and the cautions; several lines of plain text."""
    if isinstance(size, FlywheelSize):
        body = [*_pairs(_wheel_figures(size)), "", *_gear_table(size.choices)]
    else:
        body = [*_pairs(_cocking_figures(size)), "", *_cocking_table(size.choices), "", *_spring_table(size.springs)]
    notes = [f"note: {note}" for note in size.notes]
    return "\n".join([f"{robot.name}: {robot.title}", *body, *notes, "", *cautions(robot)]).replace("\n\n\n", "\n\n")


def decision_table(comparison: Comparison) -> tuple[list[str], list[list[str]]]:
    """Head and rows of the weighted decision, a column a mechanism between what counts and its weight."""
    columns, decision = comparison.mechanisms, comparison.decision
    rows = [
        [
            c.words,
            *(_with_unit(m.figures[c.name], c.unit) for m in columns),
            _percent(decision.weights.get(c.name, 0.0)),
        ]
        for c in CRITERIA
    ]
    rows.append(["weighted score", *(f"{decision.totals[m.name]:.2f}" for m in columns), ""])
    return ["what counts", *(m.name for m in columns), "weight"], rows


def hit_table(comparison: Comparison) -> tuple[list[str], list[list[str]]]:
    """Head and rows of the hit probabilities over distance."""
    columns = comparison.mechanisms
    rows = [
        [f"{distance:.2f} m", *(_percent(m.hit[k]) for m in columns)]
        for k, distance in enumerate(columns[0].distances_m)
    ]
    return ["hit probability from", *(m.name for m in columns)], rows


def compare_text(comparison: Comparison) -> str:
    """Mechanisms side by side with the weighted scores, and what the decision rests on; several lines of plain text."""
    head, rows = decision_table(comparison)
    rows.append(["usually handles", *(", ".join(m.shapes) for m in comparison.mechanisms), ""])
    return "\n".join([*_table(head, rows), "", *_table(*hit_table(comparison)), "", *comparison.words])


def rate_words(a_minute: float | None) -> str:
    """A rate of fire, as far as it can be used."""
    if a_minute is not None and a_minute > FASTER_THAN_FEEDING:
        return "quicker than it can be fed"
    return _number(a_minute, "a minute", 0)


def _with_unit(value: float | None, unit: str) -> str:
    if value is None:
        return "unknown"
    return _percent(value) if unit == "%" else f"{value:.3g} {unit}".rstrip()


def _percent(share: float) -> str:
    """Whole per cent, never rounded to a certainty that isn't there."""
    return "over 99 %" if 0.995 <= share < 1 else f"{100 * share:.0f} %"


def _wheel_figures(s: FlywheelSize) -> list[tuple[str, str]]:
    head = "unknown" if s.headroom_low is None else f"{s.headroom_low:+.0%}"
    stress = _number(s.rim_stress_mpa, "MPa as a thin ring", 2)
    return [
        ("gearing", _number(s.reduction, "motor turns a turn of the wheel", 2)),
        ("wheel without load", _number(s.no_load_rpm, "rpm at nominal voltage", 0)),
        ("ceiling, full battery", _number(s.ceiling_rpm_full, "rpm", 0)),
        ("ceiling, low battery", _number(s.ceiling_rpm_low, "rpm", 0)),
        ("needed, near", _needed(s.needed_rpm.near, s.near_m, "rpm")),
        ("needed, far", _needed(s.needed_rpm.far, s.far_m, "rpm")),
        ("headroom, low battery", head),
        ("farthest, low battery", _number(s.farthest_m, "m", 2)),
        ("spin-up", _number(s.spin_up_s, f"s to {_plain(s.design_rpm)} rpm", 2)),
        ("drop a shot", _number(s.drop_rpm, "rpm", 0)),
        ("recovery", _number(s.recovery_s, "s", 2)),
        ("shots", rate_words(s.shots_per_minute)),
        ("current", f"{_number(s.peak_current_a, 'A at spin-up', 1)}, {_number(s.hold_current_a, 'A holding', 1)}"),
        ("energy of the element", _number(s.element_energy_j, "J", 2)),
        ("energy a shot takes", _number(s.shot_energy_j, "J", 2)),
        ("rim, at full power", f"{_number(s.rim_speed_mps, 'm/s', 1)}, stress {stress}"),
        ("kept in the wheels then", _number(s.stored_energy_j, "J", 1)),
    ]


def _cocking_figures(s: CockingSize) -> list[tuple[str, str]]:
    margin = "unknown" if s.torque_margin is None else f"{s.torque_margin:.2f} times what is needed"
    stop = _number(s.stop_energy_j, "J each cycle", 2)
    if s.cycles is not None:
        stop += f", {s.cycles} cycles so far, {_number(s.stop_energy_total_j, 'J in all', 0)}"
    stress = _number(s.spring_stress_mpa, "MPa", 0)
    if s.spring_safety is not None:
        stress += f", yield at {s.spring_safety:.2f} times that"
    return [
        ("force at the longest draw", _number(s.force_max_n, "N", 1)),
        ("energy stored there", _number(s.spring_energy_j, "J", 2)),
        ("stress in the wire", stress),
        ("exit speed there", _number(s.exit_speed_max_mps, "m/s", 2)),
        ("needed, near", _needed(s.needed_mm.near, s.near_m, "mm")),
        ("needed, far", _needed(s.needed_mm.far, s.far_m, "mm")),
        ("farthest, low battery", _number(s.farthest_m, "m", 2)),
        ("draw, full battery", _number(s.ceiling_mm_full, "mm", 0)),
        ("draw, low battery", _number(s.ceiling_mm_low, "mm", 0)),
        ("torque needed", f"{_number(s.crank_torque_max_nm, 'N m', 2)}, worst at {_plain(s.worst_draw_mm)} mm"),
        ("torque to hold it drawn", _number(s.holding_torque_nm, "N m", 2)),
        ("torque the drive gives", f"{_number(s.drive_torque_nm, 'N m', 2)}, {margin}"),
        ("time to cock", _number(s.cock_time_s, "s", 2)),
        ("cycles", _number(s.cycles_per_minute, "a minute", 0)),
        ("current at the worst point", _number(s.peak_current_a, "A", 1)),
        ("into the stop", stop),
    ]


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
    return _table(
        ["gears", "reduction", "torque N m", "ceiling rpm", "spin-up s", "recovery s", "farthest m", ""], rows
    )


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
    return _table(["gears", "reduction", "margin", "draw mm", "to cock s", "farthest m", ""], rows)


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
    return _table(["spring N/mm", "draw mm", "force N", "exit m/s", "farthest m", "margin", "stop J", ""], rows)


def _marks(choice: GearChoice | CockingChoice | SpringChoice) -> str:
    words = [w for w, on in (("best", choice.best), ("present", choice.present)) if on]
    return ", ".join(words)


def _gears(stages: Sequence[tuple[int, int]]) -> str:
    return "  ".join(f"{a}:{b}" for a, b in stages) or "direct"


def _needed(value: float | None, distance: float | None, unit: str) -> str:
    where = "" if distance is None else f" at {distance:.2f} m"
    return _number(value, unit, 0) + where


def _number(value: float | None, unit: str, digits: int) -> str:
    return "unknown" if value is None else f"{value:.{digits}f} {unit}"


def _plain(value: float | None, digits: int = 0) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


def _pairs(figures: list[tuple[str, str]]) -> list[str]:
    width = max(len(name) for name, _ in figures)
    return [f"  {name:<{width}}  {words}" for name, words in figures]


def _table(head: list[str], rows: list[list[str]]) -> list[str]:
    widths = [max(len(row[k]) for row in [head, *rows]) for k in range(len(head))]
    return [
        "  "
        + "  ".join(
            f"{cell:<{w}}" if k in (0, len(head) - 1) else f"{cell:>{w}}"
            for k, (cell, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in [head, *rows]
    ]
