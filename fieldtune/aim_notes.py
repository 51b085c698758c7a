"""What to bear in mind with a recommendation: how little it rests on, what the battery holds, what is strained."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot
    from fieldtune.setup.encoder_check import Verdict
    from fieldtune.store import Store


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
