"""The lines of the main screen as (text, style) parts, made from records alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldtune.console import words
from fieldtune.console.shooting_state import ShootingState
from fieldtune.console.widgets.text_block import Part
from fieldtune.person_units import amount, how_far, size, us
from fieldtune.records import RESULT_SHAPES, Shot
from fieldtune.robot.model import Robot

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.link.samples import Live


def opening(shooting: ShootingState, unopened: bool, rows: int, width: int) -> list[Part]:
    """What stands there until the body is brought in: the answer too where it is known; ``rows`` of cautions.

    ``unopened``: the line isn't open yet.
    """
    where: list[Part] = [("Distance unknown", "bold $ink")]
    if shooting.distance is not None:
        where = [
            ("From ", "$quiet"),
            (words.metres(shooting.distance.value_m), "bold $ink"),
            f"  {shooting.distance.words}",
        ]
    aim, robot = shooting.aim, shooting.robot
    doing = "Opening the line to the robot…" if unopened else "" if shooting.aim_holds else "Working out the setpoint…"
    parts: list[Part] = [(f"\n {doing}\n\n ", "bold $act"), *where]
    lines: list[list[Part]] = []
    if aim is not None and shooting.aim_holds:
        lines = [chance(aim), [""], cautions(aim, (), rows, width)]
        if aim.setpoint.value is not None:
            number = f" {words.setpoint(aim.setpoint.value, robot)}"
            lines = [[*order(aim, robot), (number, "bold $ink")], [good_range(aim, robot)], *lines]
    for line in lines:
        parts += ["\n ", *indented(line)]
    return parts


def indented(parts: list[Part]) -> list[Part]:
    """With a blank before each further line, as before the first."""
    return [p.replace("\n", "\n ") if isinstance(p, str) else (p[0].replace("\n", "\n "), p[1]) for p in parts]


def order(aim: Aim | None, robot: Robot) -> list[Part]:
    """What is to be set."""
    angle = None if aim is None else aim.exit_angle_setpoint_deg
    hood: list[Part] = [] if angle is None else [(f"Hood to {angle:g}°. ", "bold $act")]
    return [*hood, (words.order(robot), "bold $act")]


def good_range(aim: Aim | None, robot: Robot) -> Part:
    """The setpoints that score nearly as well; lengths by a ruler too."""
    good = ""
    if aim is not None and aim.setpoint.low is not None and aim.setpoint.high is not None:
        good = f"Good range {words.number(aim.setpoint.low, robot)} to {words.setpoint(aim.setpoint.high, robot)}"
    if us() and robot.setpoint.unit == "mm" and aim is not None and aim.setpoint.value is not None:
        good = f"{size(aim.setpoint.value)} by a ruler   {good}"
    return good, "$quiet"


def readback(live: Live, shooting: ShootingState, robot: Robot) -> list[Part]:
    """What the robot does, against its setpoint and against what is recommended."""
    value = words.readback(live, robot)
    wanted = live.setpoint if live.setpoint is not None else shooting.recommended
    said = words.against(value, wanted, robot, shooting.aim)
    thing = words.what_turns(robot).capitalize()
    unread = live.state == "searching" and live.health.dropped
    if value is None and (unread or (live.state == "live" and ";" in live.words)):
        said = "c says why"
    on = said == "on setpoint"
    if not on and wanted is not None and words.settled(live, wanted):
        on, said = True, f"steady, {said}"
    parts: list[Part] = [(f"{thing} now ", "$quiet"), (words.setpoint(value, robot), "bold $ink")]
    shape = "●" if on else ("▼" if said.startswith("below") else "▲" if said.startswith("above") else "○")
    if second := words.second_wheel_off(live, robot):
        on, shape, said = False, "✗", second
    parts.append((f"\n{shape} {said}", "bold $good" if on else "bold $bad"))
    elsewhere = words.hood_elsewhere(live, robot, shooting.aim)
    if elsewhere:
        parts.append((f"\n✗ {elsewhere}", "bold $bad"))
    if live.setpoint is not None:
        parts.append((f"\nSetpoint {words.setpoint(live.setpoint, robot)}", "$quiet"))
        verdict = _verdict(live.setpoint, shooting.aim, robot)
        if verdict:
            parts.append((verdict, "$quiet"))
    return parts


def hood_order(aim: Aim | None) -> str:
    """What else to set, behind the first setpoint; empty without a hood."""
    angle = None if aim is None else aim.exit_angle_setpoint_deg
    return "" if angle is None else f", the hood to {angle:g}°"


def setpoint_verdict(live: Live, shooting: ShootingState, robot: Robot) -> str:
    """The robot's own setpoint where it is not a good one, to go behind "on setpoint"; empty otherwise."""
    verdict = "" if live.setpoint is None else _verdict(live.setpoint, shooting.aim, robot)
    return "" if verdict in ("", ": good") else f" {words.setpoint(live.setpoint, robot)}{verdict}"


def _verdict(setpoint: float, aim: Aim | None, robot: Robot) -> str:
    if aim is None or aim.setpoint.low is None:
        return ""
    if words.is_good(setpoint, aim):
        return ": good"
    return ": too low" if setpoint < aim.setpoint.low else ": too high"


def jam(amps: float) -> str:
    """What a launcher is told that draws far more current than it takes, with no shot."""
    return f"jam? {amps:.1f} A, no shot: wheels off, battery out, then clear it"


def chance(aim: Aim | None) -> list[Part]:
    """Hit probability with its 90 % interval."""
    if aim is None:
        return [("Chance ", "$quiet"), ("working it out…", "$quiet")]
    if not aim.reachable or aim.hit_probability is None:
        return [("Chance ", "$quiet"), ("not reachable", "bold $bad")]
    shots = words.counted(aim.shots_used, "shot")
    return [
        ("Chance ", "$quiet"),
        (words.percent(aim.hit_probability), "bold $ink"),
        (f"  likely {words.interval(aim.hit_probability_90)}", "$quiet"),
        (f"\nfrom {shots} and the profile" if aim.shots_used else "\nfrom the profile alone, no shots", "$quiet"),
    ]


def chance_now(shown: tuple[float, float] | None, robot: Robot) -> list[Part]:
    """Chance at the robot's setpoint now, where it isn't the recommended one."""
    if shown is None:
        return [""]
    return [(f"at the setpoint now, {words.setpoint(shown[0], robot)}: {words.percent(shown[1])}", "$quiet")]


def battery(live: Live, shooting: ShootingState, robot: Robot) -> list[Part]:
    """Voltage and what it can hold."""
    parts: list[Part] = [("Battery ", "$quiet"), (words.volts(live.battery_v), "bold $ink")]
    if shooting.aim is not None:
        said, enough = words.holds(shooting.aim, robot)
        parts.append((f"  {said}", "$quiet" if enough else "bold $bad"))
    return parts


def figures(aim: Aim | None, width: int) -> list[Part]:
    """Figures of the path for those who want them, in rows of that width."""
    if aim is None or not aim.reachable:
        return [""]
    said = []
    if aim.exit_speed_mps is not None:
        said.append(f"leaves at {amount(aim.exit_speed_mps, 'm/s', 1)}")
    if aim.exit_angle_deg is not None:
        said.append(f"{aim.exit_angle_deg:.0f}°")
    if aim.entry_angle_deg is not None:
        said.append(f"enters at {abs(aim.entry_angle_deg):.0f}°")
    if aim.apex_m is not None:
        said.append(f"top {how_far(aim.apex_m)}")
    if aim.time_s is not None:
        said.append(f"{aim.time_s:.2f} s")
    return [(words.rows(said, width, ", "), "$quiet")]


def caution_rows(height: int) -> int:
    """How many cautions a window of so many rows has room for."""
    return 3 if height >= 36 else 1


def cautions(aim: Aim | None, battery: tuple[str, ...], rows: int, width: int) -> list[Part]:
    """What the battery and the recommendation warn of, one a line; what doesn't fit is counted."""
    told = any(text.startswith("encoder (") for text in battery)
    advised = aim.cautions if aim is not None else ()
    said = (*battery, *(text for text in advised if not (told and text.startswith("measured speeds"))))
    if not said:
        return [""]
    shown = [f"! {text}" for text in said[:rows]]
    more = len(said) - len(shown)
    tail = f" (+{more} more: press n)" if more else ""
    shown[-1] = words.shorten(shown[-1], width - len(tail)) + tail
    return [("\n".join(words.shorten(line, width) for line in shown), "$bad")]


def dip_question(shooting: ShootingState) -> str:
    """What is asked about a dip of the wheel that may have been a shot; empty where none is."""
    if shooting.unsure is None or not shooting.asks_about_dip:
        return ""
    return f"Was that a shot, {shooting.age_s(shooting.unsure):.0f} s ago? y yes, or its result   x no shot"


def next_step(live: Live, shooting: ShootingState, robot: Robot, sim: bool, writing: bool) -> str:
    """The one thing to do now, while no shot waits for a result."""
    if writing:
        return "Writing the shot…"
    if dip := dip_question(shooting):
        return dip
    if shooting.distance is None:
        return "Press d and type the distance to the target, or a number for a spot"
    aim = shooting.aim
    if aim is None or not shooting.aim_holds:
        return "Working out the setpoint…"
    if not aim.reachable or aim.setpoint.value is None:
        nearest = f"; nearest that works: {words.metres(aim.nearest_m)}" if aim.nearest_m is not None else ""
        return f"Not reachable from {words.metres(shooting.distance.value_m)}{nearest}. Move, then press d"
    thing, order = words.what_turns(robot), words.order(robot)
    wanted = words.setpoint(aim.setpoint.value, robot)
    hood, elsewhere = hood_order(aim), words.hood_elsewhere(live, robot, aim)
    if live.setpoint is not None and _verdict(live.setpoint, aim, robot) != ": good":
        return f"{order} {wanted}{hood}" + (": press g" if sim else " in the robot program")
    if elsewhere:
        return elsewhere[:1].upper() + elsewhere[1:] + (": press g" if sim else " in the robot program")
    if second := words.second_wheel_off(live, robot):
        return f"{second[:1].upper()}{second[1:]}: stop, then look at motor, belt and plug"
    value = words.readback(live, robot)
    held = live.setpoint if live.setpoint is not None else aim.setpoint.value
    shoot = f"{'press f to fire' if sim else 'shoot once the range is clear'}, then press where it went"
    if value is None:
        return f"{order} {wanted}{hood}, {shoot}"
    if not words.near(value, held, robot, aim) and not words.settled(live, held):
        return f"Wait: {thing} {words.against(value, held, robot, aim)}"
    return f"Ready at {words.setpoint(held, robot)}: {shoot}"


def shot_chips(shots: tuple[Shot, ...], robot: Robot, width: int, rows: int) -> list[Part]:
    """The last shots, newest first, side by side in few rows."""
    parts: list[Part] = [("Last ", "$quiet")]
    used, row = 5, 1
    for shot in reversed(shots):
        text = _chip(shot, robot)
        if used + len(text) + 3 > width:
            if row == rows:
                break
            parts.append("\n     ")
            used, row = 5, row + 1
        parts.extend([(text, _style(shot)), "   "])
        used += len(text) + 3
    return parts


def _chip(shot: Shot, robot: Robot) -> str:
    state = words.shot_state(shot)
    what = f"{RESULT_SHAPES[shot.result]} {words.result_of(shot)}"
    hood = "" if shot.hood_deg is None else f" {shot.hood_deg:g}°"
    said = f"{what} {how_far(shot.distance_m)} {words.number(shot.setpoint, robot)}{hood}"
    return f"{said} ({words.shorten(state, 18)})" if state else said


def left_at(speed: float | None, robot: Robot) -> list[str]:
    """What was measured as a shot left, in words; none where it wasn't."""
    unit, _ = robot.launcher.mechanism.measured
    return [] if speed is None else [f"left at {speed:.0f} {unit}"]


def shot_rows(shots: tuple[Shot, ...], robot: Robot, rows: int) -> list[Part]:
    """The last shots, newest first, one a row below their headings."""
    unit = robot.launcher.mechanism.measured[0]
    far = f"{'distance':>{len(words.metres_cell(None))}}"
    head = f"{'shot':>4}  {'  result':<20} {far}  {'setpoint':>9}  {f'left at ({unit})':<17} {'battery':<7}"
    parts: list[Part] = [(head + "\n", "$quiet")]
    for shot in list(reversed(shots))[: rows - 1]:
        speed = "" if shot.speed is None else f"{shot.speed:.0f}"
        battery = "" if shot.battery_v is None else words.volts(shot.battery_v)
        what = f"{RESULT_SHAPES[shot.result]} {words.result_of(shot):<18}"
        how = (
            f"{words.metres_cell(shot.distance_m)}  {words.setpoint(shot.setpoint, robot):>9}  {speed:<17} {battery:<7}"
        )
        text = f"{shot.shot:>4}  {what} {how} period {shot.epoch}  {words.shot_state(shot)}"
        parts.append((text.rstrip() + "\n", _style(shot)))
    return parts


def _style(shot: Shot) -> str:
    if not shot.counts:
        return "strike $quiet"
    return "$good" if shot.result == "in" else "$ink"
