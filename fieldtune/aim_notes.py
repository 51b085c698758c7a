"""The recommendation with what to bear in mind: how little it rests on, what the battery holds, what is strained."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.shot_entry import check_distance, hood_then

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.aim.turn import Pose
    from fieldtune.learn import Posterior
    from fieldtune.link.samples import Live
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot, Target
    from fieldtune.setup.encoder_check import Verdict
    from fieldtune.store import Store


@frozen
class Asked:
    """Where a recommendation is for: see ``Session.aim``."""

    distance_m: float | None
    pose: Pose | None = None
    moving_mps: float = 0.0
    sideways_mps: float = 0.0
    exit_angle_deg: float | None = None


def advise(
    robot: Robot,
    target: Target,
    posterior: Posterior,
    asked: Asked,
    live: Live | None,
    log: Store,
    battery_v: float | None,
    encoder: Verdict | None,
) -> Aim:
    """See ``Session.aim``; ``live``: what the line says now, None without one. ``encoder``: as for ``with_notes``."""
    from fieldtune.aim.hood import best_exit_angle
    from fieldtune.aim.recommend import recommend
    from fieldtune.aim.required_speed.choice import required_speed_for
    from fieldtune.aim.turn import Pose, seen_from, towards, with_turn

    belief = posterior.belief
    distance, pose, facing = asked.distance_m, asked.pose, None
    moving, sideways = asked.moving_mps, asked.sideways_mps
    if distance is None and pose is None and live is not None:
        distance = live.distance_m
        if live.x_m is not None and live.y_m is not None and target.position is not None:
            pose = Pose(live.x_m, live.y_m, live.heading_deg)
            moving, sideways = towards(target, pose, live.vx_mps or 0.0, live.vy_mps or 0.0)
    if pose is not None:
        distance, facing = seen_from(robot, target, pose)
    if distance is None:
        raise InputError("from where? give a distance or a pose")
    check_distance(distance)
    angle = asked.exit_angle_deg
    if angle is None:
        stands = None if live is None or robot.hood is None else live.hood_deg
        angle = best_exit_angle(robot, target, belief, distance, battery_v, stands)
    else:
        angle = hood_then(robot, angle, None)
    held = robot.with_exit_angle(angle)
    if moving or sideways:
        from fieldtune.aim.motion import Motion, lead_angle, recommend_moving

        motion = Motion(moving, sideways)
        if asked.exit_angle_deg is None:
            angle = lead_angle(robot, target, belief, distance, motion, battery_v, angle)
            held = robot.with_exit_angle(angle)
        aim = recommend_moving(held, target, belief, distance, motion, battery_v)
    else:
        aim = recommend(held, target, belief, distance, battery_v)
    aim = with_turn(held, required_speed_for(held, target), belief, aim, facing, battery_v)
    return with_notes(held, replace(aim, exit_angle_setpoint_deg=angle), log, battery_v, encoder, posterior.at_odds)


def with_notes(
    robot: Robot,
    aim: Aim,
    log: Store,
    battery_v: float | None,
    encoder: Verdict | None,
    at_odds: str | None,
) -> Aim:
    """The recommendation with its ceiling (in setpoint units; None where unknown) and with cautions in words.

    ``encoder``: what stands against the measured speeds of the log; ``at_odds``: that its shots contradict each other.
    """
    from fieldtune.battery.ceiling import ceiling
    from fieldtune.sizing.cautions import strained

    highest = ceiling(robot, battery_v, _resistance(log))
    words = [
        None if encoder is None else f"measured speeds are not learned from: {encoder.words}",
        at_odds,
        *_little_known(aim, log.shots()),
        _damaged(robot, len(log.damaged())),
        _odd_battery(robot, battery_v),
        _too_much_for_battery(robot, aim, highest, battery_v),
    ]
    harm = strained(robot, aim.setpoint.value, battery_v) if aim.setpoint.value is not None else ()
    told = [word for word in words if word is not None]
    # What rests on too little, and what can hurt, before how the figures were made; but why there are none comes first.
    cautions = (*aim.cautions, *told) if aim.setpoint.value is None else (*told, *harm, *aim.cautions)
    return replace(aim, ceiling=highest, cautions=cautions, battery_v=battery_v)


def _resistance(log: Store) -> float | None:
    """The latest measured resistance of the battery that is in now; None leaves the profile's."""
    label = log.battery_label
    readings = log.batteries(label) if label is not None else ()
    return next((r.resistance_ohm for r in reversed(readings) if r.resistance_ohm is not None), None)


def _little_known(aim: Aim, shots: Sequence[Shot]) -> list[str]:
    if aim.setpoint.value is None:
        return []
    if aim.shots_used == 0:
        return ["no confirmed shot yet, this rests on the profile alone: confirm a trial shot"]
    if not any(shot.counts and shot.epoch == aim.epoch for shot in shots):
        return ["no shot yet in this battery period: one or two will show what this battery does"]
    return []


def _damaged(robot: Robot, rows: int) -> str | None:
    if not rows:
        return None
    what = "an entry of the shot log was" if rows == 1 else f"{rows} entries of the shot log were"
    return f"{what} damaged and left out: 'fieldtune check {robot.name} --log' says which"


def _odd_battery(robot: Robot, battery_v: float | None) -> str | None:
    from fieldtune.battery.resistance import odd_voltage

    return None if battery_v is None else odd_voltage(robot, battery_v)


def _too_much_for_battery(robot: Robot, aim: Aim, highest: float | None, battery_v: float | None) -> str | None:
    value, unit = aim.setpoint.value, robot.setpoint.unit
    if highest is None or value is None or value <= highest:
        return None
    now = f"a battery at {battery_v:.1f} V" if battery_v is not None else "a half-charged battery"
    return (
        f"{now} can hold about {highest:.0f} {unit}, less than the {value:.0f} {unit} needed: "
        "charge or change the battery, wait longer between shots, or go nearer"
    )
