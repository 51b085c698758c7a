"""What stands on a pit sheet, gathered from a session and cut to what one page holds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.hood import exit_angle_of
from fieldtune.aim.places import working_range
from fieldtune.aim.reach import reach_of_all
from fieldtune.aim.recommend import speed_factor
from fieldtune.errors import OutOfReachError
from fieldtune.figures import FIGURES, figures_of
from fieldtune.frozen import frozen
from fieldtune.plain_text import local_time
from fieldtune.scene import Scene, scene
from fieldtune.sizing.cautions import cautions
from fieldtune.sizing.size import size

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim, Learned, TableRow
    from fieldtune.records import BatteryReading
    from fieldtune.robot.model import Robot, Target
    from fieldtune.session import Session
    from fieldtune.sizing.results import Size


def field_range(session: Session, target: str | None = None, battery_v: float | None = None) -> tuple[float, float]:
    """Nearest and farthest distance (m): of the profile's spots that can score, else of the working range.

    Raises ``OutOfReachError`` where it scores from nowhere.
    """
    robot = session.robot
    seen = reach_of_all(robot, robot.target(target), session.belief, battery_v)
    if seen.nearest is None or seen.farthest is None:
        raise OutOfReachError(f"{robot.name} scores from no distance; check its profile: fieldtune check {robot.name}")
    shot_from = session.posterior.shot_from(robot.target(target))
    over = working_range(robot, seen.nearest, seen.farthest, shot_from)
    return (
        (over.near_m, over.far_m)
        if over.source == "spots"
        else (max(round(over.near_m, 2), 0.01), round(over.far_m, 2))
    )


_MOST_ROWS, _LEAST_ROWS, _MOST_BATTERIES, _MOST_FACTS, _MOST_CAUTIONS = 12, 5, 4, 6, 8
FACT_MOST, CAUTION_MOST, LONG_TITLE = 96, 190, 32
"""Letters that a fact and a caution may have; titles above ``LONG_TITLE`` letters are set smaller."""
_FACT_LETTERS, _CAUTION_LETTERS, _FIGURE_LETTERS = 48, 58, 28
"""Letters that a line of their lists holds in DejaVu Sans, the widest of the sheet's fonts."""
_FACT_LINES, _CAUTION_LINES = 2, 4
"""Lines after which the style cuts them."""
_FACT_MM, _CAUTION_MM, _FIGURE_MM, _BATTERY_MM, _ROW_MM = 3.55, 3.4, 4.0, 8.4, 8.2
"""Heights of a line of those lists, of a battery, and of a row of the driver's table, as a browser sets them."""
_FIXED_MM, _LETTER_MM = 105.0, 260.0
"""Height of all that is always there (head, pictures, headings, foot), and of a Letter page between its margins."""
_STEPS = (0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 2.5, 5.0, 10.0)


@frozen
class SheetRow:
    """One line of the driver's table; ``spot`` is its name on the field."""

    row: TableRow
    spot: str | None


@frozen
class Shown:
    """One picture with the recommendation it shows, and what little is said under it."""

    aim: Aim
    spot: str | None
    scene: Scene
    small: tuple[str, ...]


@frozen
class SheetParts:
    """All of a sheet: rows by distance, pictures from near to far, and short lists of words."""

    robot: Robot
    target: str | None
    rows: tuple[SheetRow, ...]
    pictures: tuple[Shown, ...]
    figures: tuple[tuple[str, str], ...]
    batteries: tuple[tuple[str, ...], ...]
    learned: Learned
    facts: tuple[str, ...]
    cautions: tuple[str, ...]
    battery_label: str | None


def _cautions(warned: list[str], hazards: tuple[str, ...]) -> tuple[str, ...]:
    """Hazards all, who decides last, and before them as many of the recommendations' warnings as there is room for."""
    room = max(_MOST_CAUTIONS - len(hazards), 1)
    return (*[words for words in dict.fromkeys(warned) if words not in hazards][:room], *hazards)


def gather(session: Session, battery_v: float | None = None, target: str | None = None) -> SheetParts:
    """The parts of one robot's sheet at one of its targets; raises ``OutOfReachError`` where it scores from nowhere."""
    robot, goal, learned = session.robot, session.robot.target(target), session.learned()
    near, far = field_range(session, target, battery_v)
    aims = _aims(session, near, far, battery_v, target)
    sized = size(robot, goal, speed_factor(session.robot, session.belief), cycles=len(session.log.shots()))
    warned = [words for aim in aims for words in aim.cautions]
    facts = [fact.told for fact in learned.facts]
    if learned.drift.drifting:
        facts.insert(0, learned.drift.words)
    batteries, warnings = _batteries(session), _cautions(warned, cautions(robot))
    told = figures(sized)
    most = rows_that_fit(facts[:_MOST_FACTS], warnings, told, len(batteries))
    rows = _rows(session, near, far, battery_v, target, most)
    if robot.hood is not None:
        aims = _aims(session, near, far, battery_v, target, rows)
    shown = _pictures(session, aims, battery_v, target)
    return SheetParts(
        robot,
        goal.name,
        rows,
        shown,
        told,
        batteries,
        learned,
        tuple(facts[:_MOST_FACTS]),
        warnings,
        session.log.battery_label,
    )


def rows_that_fit(
    facts: Sequence[str], warnings: Sequence[str], figures: Sequence[tuple[str, str]], batteries: int
) -> int:
    """Rows of the driver's table that leave room for the rest on the shorter of A4 and Letter."""
    told = _FACT_MM * sum(_lines(words, _FACT_LETTERS, _FACT_LINES) for words in facts)
    named = sum(_FIGURE_MM * _lines(name + words, _FIGURE_LETTERS, 2) + 0.5 for name, words in figures)
    warned = [_lines(words, _CAUTION_LETTERS, _CAUTION_LINES) for words in warnings]
    columns = (sum(warned) + max(warned, default=0)) / 2  # two of them, and no caution is broken between them
    rest = _FIXED_MM + max(told, named, _BATTERY_MM * batteries) + _CAUTION_MM * columns
    return max(_LEAST_ROWS, min(_MOST_ROWS, int((_LETTER_MM - rest) / _ROW_MM)))


def _lines(words: str, letters: int, most: int) -> int:
    return min(most, math.ceil(len(words) / letters))


def _rows(
    session: Session, near: float, far: float, battery_v: float | None, target: str | None, most: int
) -> tuple[SheetRow, ...]:
    names = {round(s.distance, 3): s.name for s in session.robot.spots if near <= s.distance <= far}
    spots = sorted(names)
    spots = thinned(spots, most)
    places = next((found for step in _STEPS if len(found := _places(near, far, step, spots)) <= most), spots)
    rows = session.table(places or [near], battery_v, target)
    return tuple(SheetRow(row, names.get(round(row.distance_m, 3))) for row in rows)


def _places(near: float, far: float, step: float, spots: list[float]) -> list[float]:
    """The spots, and the round distances between them that are not next to one."""
    marks = [round(k * step, 3) for k in range(math.ceil(near / step - 1e-9), math.floor(far / step + 1e-9) + 1)]
    return sorted([*spots, *(d for d in marks if all(abs(d - spot) > 0.4 * step for spot in spots))])


def _aims(
    session: Session,
    near: float,
    far: float,
    battery_v: float | None,
    target: str | None,
    rows: Sequence[SheetRow] = (),
) -> list[Aim]:
    """From near to far; a hood stands as in the driver's ``rows``, so that the sheet says one angle a spot."""
    inside = [s.distance for s in session.robot.spots if near < s.distance < far]
    middle = min(inside, key=lambda d: abs(d - (near + far) / 2)) if inside else (near + far) / 2
    angles = {r.row.distance_m: exit_angle_of(r.row) for r in rows}
    found = [
        session.aim(distance, battery_v, target, exit_angle_deg=angles.get(round(distance, 3)))
        for distance in (near, middle, far)
    ]
    return [aim for aim in found if aim.setpoint.value is not None]


def _pictures(session: Session, aims: Sequence[Aim], battery_v: float | None, target: str | None) -> tuple[Shown, ...]:
    spots = {s.distance: s.name for s in reversed(session.robot.spots)}
    goal, bias = session.robot.target(target), float(session.belief.best.distance_bias[0])
    found = []
    for aim in aims:
        distance, value = aim.distance_m, aim.setpoint.value
        assert value is not None
        path = session.picture(distance, value, battery_v, target, aim.exit_angle_setpoint_deg)
        drawn = scene(session.robot, goal, distance + bias, path, flown=1.0)
        found.append(Shown(aim, spots.get(distance), drawn, _small(aim, goal)))
    return tuple(found)


def _small(aim: Aim, target: Target) -> tuple[str, ...]:
    known = [(key, getattr(aim, key)) for key in ("hit_probability", "entry_angle_deg", "time_s")]
    shown = [(key, value) for key, value in known if value is not None]
    hidden = target.by_way(lambda: "", lambda: "entry_angle_deg")
    return tuple(f"{FIGURES[key].label} {FIGURES[key].said(value)}" for key, value in shown if key != hidden)


def _batteries(session: Session) -> tuple[tuple[str, ...], ...]:
    """Newest reading of each battery first: label, date, resistance and voltage at rest, how the resistance moved."""
    rows = []
    for label, readings in by_battery(session.log.batteries()).items():
        ohms = [r.resistance_ohm for r in readings if r.resistance_ohm is not None]
        last, ohm = readings[-1], readings[-1].resistance_ohm
        moved = f"{1000 * (ohms[-1] - ohms[0]):+.0f} since first" if len(ohms) > 1 else "first reading"
        measured = (_unit(None if ohm is None else 1000 * ohm, 0, "mΩ"), _unit(last.rest_v, 2, "V"))
        told = ", ".join(words for words in measured if words)
        rows.append((last.time, (label, local_time(last.time)[:10], told, moved)))
    return tuple(row for _, row in sorted(rows, reverse=True)[:_MOST_BATTERIES])


def by_battery(readings: Sequence[BatteryReading]) -> dict[str, list[BatteryReading]]:
    """Readings of each battery by its label, in the order made."""
    found: dict[str, list[BatteryReading]] = {}
    for reading in readings:
        found.setdefault(reading.label or "–", []).append(reading)
    return found


def thinned(values: Sequence[float], most: int) -> list[float]:
    """As many of the values as fit, the first and the last among them."""
    if len(values) <= most:
        return list(values)
    return [values[round(k * (len(values) - 1) / (most - 1))] for k in range(most)]


def figures(sized: Size) -> tuple[tuple[str, str], ...]:
    """The figures of drive and mechanism that matter in the pit; what is unknown is left out."""
    known = ((figure, value) for figure, value in figures_of(sized) if figure.on_sheet and value is not None)
    return tuple((figure.title, figure.said(value)) for figure, value in known)


def _unit(value: float | None, digits: int, unit: str) -> str:
    return f"{value:.{digits}f} {unit}" if value is not None and np.isfinite(value) else ""
