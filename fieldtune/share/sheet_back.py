"""The back of a pit sheet, for the pit: checklist, error budget, batteries, hits, powers over voltage, a blank log."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup

from fieldtune.aim.chance_field import chance_field, map_range
from fieldtune.battery.ceiling import ceiling, lowest_voltage
from fieldtune.battery.resistance import usual_voltage
from fieldtune.charts.design import budget_chart
from fieldtune.charts.robot_map import MapPoints, robot_map
from fieldtune.frozen import frozen
from fieldtune.person_units import digits_of, how_far
from fieldtune.share.chart_svg import printed
from fieldtune.share.sheet_contents import by_battery, field_range, thinned
from fieldtune.share.voltage_grid import VoltageGrid, voltage_grid
from fieldtune.sizing.feeding import feeding

if TYPE_CHECKING:
    from fieldtune.aim.error_budget import ErrorBudget, SpotBudget
    from fieldtune.learn.hits import HitGroup
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

_MOST_SPOTS, _MOST_CAUSES, _MOST_BATTERIES, _MOST_GROUPS, _MOST_ROWS = 4, 6, 6, 6, 8
_MAP_DISTANCES = 13
_WORN = 1.5
"""Resistance over its first reading from which a battery is named as ageing (common practice)."""

Cell = tuple[str, bool]
"""Words of a cell, and whether it is the largest of its column."""


@frozen
class SheetBack:
    """What the back shows, as words; ``grid`` for open loops alone; ``charts`` with their headings."""

    checklist: tuple[str, ...]
    budget_head: tuple[str, ...]
    causes: tuple[tuple[str, tuple[Cell, ...]], ...]
    advice: str
    battery_head: tuple[str, ...]
    batteries: tuple[tuple[str, ...], ...]
    hits_by: str
    hits: tuple[tuple[str, str, str], ...]
    trend: str | None
    grid: VoltageGrid | None
    charts: tuple[tuple[str, Markup], ...]


def gather_back(session: Session, battery_v: float | None = None, target: str | None = None) -> SheetBack:
    """The back of one robot's sheet at one of its targets; raises ``OutOfReachError`` where it scores from nowhere."""
    robot = session.robot
    near, far = field_range(session, target, battery_v)
    spots = sorted({s.distance for s in robot.spots if near <= s.distance <= far}) or [near, (near + far) / 2, far]
    shown = thinned(spots, _MOST_SPOTS)
    each = [session.budget(distance, battery_v, target) for distance in shown]
    budgets, advice = [spot for budget in each for spot in budget.spots], each[len(each) // 2].advice
    advice = f"From {how_far(shown[len(shown) // 2])}: {advice}".replace(" %", "\u00a0%")
    row = session.table([far], battery_v, target)[0]
    top, fed = row.setpoint, None if row.setpoint is None else feeding(robot, row.setpoint, row.low, battery_v)
    labels = any(shot.match for shot in session.log.shots() if shot.counts)
    found = session.hits("match" if labels else "spot")
    groups = [*found.groups[-_MOST_GROUPS:], found.all, found.last] if found.all.tried else []
    return SheetBack(
        checklist=(
            *_checklist(session, shown[0], top, battery_v, target),
            *(() if fed is None or fed.per_minute is None else (f"Rate of fire from {how_far(far)}: {fed.words}",)),
        ),
        budget_head=tuple(spot.spot or how_far(spot.distance_m) for spot in budgets),
        causes=_causes(budgets),
        advice=f"{advice}.",
        battery_head=("battery", "mΩ", "since first", "at rest", "farthest spot?"),
        batteries=_batteries(session, top),
        hits_by=found.by,
        hits=tuple(map(_hit_row, groups)),
        trend=found.trend.words[:1].upper() + found.trend.words[1:] if found.trend else None,
        grid=voltage_grid(session, thinned(spots, _MOST_ROWS), None, target)
        if robot.setpoint.scale.follows_voltage
        else None,
        charts=_charts(session, battery_v, target, each[len(each) // 2]),
    )


def _charts(
    session: Session, battery_v: float | None, target: str | None, budget: ErrorBudget
) -> tuple[tuple[str, Markup], ...]:
    """The map, and the causes of misses from the middle spot: the console's own pictures, with what they show."""
    robot, goal, belief = session.robot, session.robot.target(target), session.belief
    found = []
    shown = map_range(robot, goal, belief, (), battery_v)
    if shown is not None:
        field = chance_field(robot, goal, belief, *shown, battery_v, count=_MAP_DISTANCES)
        shots = [shot for shot in session.log.shots() if shot.target in (None, goal.name)]
        drawn = robot_map(robot, field, MapPoints(epoch=session.log.epoch), shots)
        found.append(("Which setpoint from where?", printed(drawn, drawn.title)))
    spot = budget.spots[0]
    shown_at = spot.spot or how_far(spot.distance_m)
    causes = budget_chart(spot, budget.mend_first)
    if causes is not None:
        found.append((f"Misses from {shown_at}", printed(causes, causes.title)))
    return tuple(found)


def _causes(budgets: Sequence[SpotBudget]) -> tuple[tuple[str, tuple[Cell, ...]], ...]:
    """Causes by their mean square over the spots, the largest first, with the miss of each at each spot."""
    misses: dict[str, dict[int, float]] = {}
    for k, spot in enumerate(budgets):
        for cause in spot.causes:
            if cause.miss_m is not None:
                misses.setdefault(cause.cause, {})[k] = cause.miss_m
    largest = [max((at[k] for at in misses.values() if k in at), default=0.0) for k in range(len(budgets))]
    order = sorted(misses, key=lambda cause: -sum(miss**2 for miss in misses[cause].values()))
    return tuple(
        (cause, tuple(_cell(misses[cause].get(k), largest[k]) for k in range(len(budgets))))
        for cause in order[:_MOST_CAUSES]
    )


def _cell(miss_m: float | None, largest: float) -> Cell:
    return ("–", False) if miss_m is None else (digits_of(100 * miss_m, "cm", 1), miss_m == largest > 0)


def _hit_row(group: HitGroup) -> tuple[str, str, str]:
    interval = "–" if group.low is None or group.high is None else f"{100 * group.low:.0f} to {100 * group.high:.0f} %"
    return group.name, f"{group.hits} of {group.tried}", interval


def _batteries(session: Session, top: float | None) -> tuple[tuple[str, ...], ...]:
    """Each battery by its latest readings, the healthiest first."""
    rows = []
    for label, readings in by_battery(session.log.batteries()).items():
        ohms = [r.resistance_ohm for r in readings if r.resistance_ohm is not None]
        volts = [r.rest_v for r in readings if r.rest_v is not None]
        if not ohms:
            continue
        grown = f"{100 * (ohms[-1] / ohms[0] - 1):+.0f} %" if len(ohms) > 1 and ohms[0] > 0 else "first reading"
        verdict = _verdict(session.robot, ohms, volts[-1] if volts else None, top)
        at_rest = f"{volts[-1]:.2f} V" if volts else "–"
        rows.append((ohms[-1], (label, f"{1000 * ohms[-1]:.0f}", grown, at_rest, verdict)))
    return tuple(row for _, row in sorted(rows)[:_MOST_BATTERIES])


def _verdict(robot: Robot, ohms: Sequence[float], rest_v: float | None, top: float | None) -> str:
    """Whether the farthest spot's setpoint is within its ceiling, full or as last measured."""
    aged = "ageing; " if len(ohms) > 1 and ohms[-1] > _WORN * ohms[0] else ""
    highest = ceiling(robot, rest_v, ohms[-1])
    if highest is None or top is None:
        return f"{aged}unknown"
    if highest >= top:
        return f"{aged}yes, up to {min(highest, robot.setpoint.high):.0f} {robot.setpoint.unit}"
    return f"{aged}no, {highest:.0f} {robot.setpoint.unit} at most"


def _checklist(
    session: Session, near: float, top: float | None, battery_v: float | None, target: str | None
) -> tuple[str, ...]:
    """What to look at before a match, in the robot's own numbers where they are known."""
    robot, aim = session.robot, session.aim(near, battery_v, target)
    mechanism = robot.launcher.mechanism
    ohms = robot.battery.resistance if robot.battery else None
    least = None if top is None or ohms is None else lowest_voltage(robot, top, ohms, battery_v=usual_voltage(robot))
    charged = f", at least {least:.1f} V at rest" if least is not None else ""
    found = [
        "Eye protection on, range clear, one person says that it may be powered",
        f"Battery charged{charged}, plugs tight; label ________",
        mechanism.by_motion(
            lambda _: "Power off: wheels turn freely by hand, nothing loose, no rub marks",
            lambda _: "Power off and not cocked: stop, latch and spring whole, nothing loose",
        ),
        "Elements of the lot used for practice, dry and whole",
        "Link good: voltage and speed shown change when they should",
        f"Program holds this table (period {session.log.epoch}); trim ________",
    ]
    if aim.turn_deg:
        found.append(f"Turn against the side miss: {aim.turn_deg:+.1f} deg (right is positive)")
    if aim.setpoint.value is not None:
        hood = "" if aim.exit_angle_setpoint_deg is None else f", exit angle {aim.exit_angle_setpoint_deg:g} deg,"
        told = f"{aim.setpoint.value:.{robot.setpoint.decimals}f} {robot.setpoint.unit}{hood} from {how_far(near)}"
        found.append(f"One trial shot: {told}; its result entered")
    return tuple(found)
