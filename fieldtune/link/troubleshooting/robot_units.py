"""Units that only the robot's own figures make ours: counts a second, turns of a motor, metres a second at the rim."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.link.limits import Limits
from fieldtune.link.text.unit_words import COUNTED

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_RIM = re.compile(
    r"(?:(?:\b|_)m[ _]?/[ _]?s|(?:\b|_)mps|_m_s|(?:\b|_)m(?:et(?:er|re)s?)?_per_s(?:ec(?:ond)?)?)$", re.IGNORECASE
)
_HERTZ = re.compile(r"(?:\b|_)(k?)hz$", re.IGNORECASE)
_MOTOR, _WHEEL = (
    re.compile(r"motor|mtr|rotor|leader|follower", re.IGNORECASE),
    re.compile(r"wheel|fly|roller", re.IGNORECASE),
)
_ANGLES = (
    ("turns", 1.0, re.compile(r"(?:\b|_)(?:rots?|rotations?|turns?|revs?|revolutions?)$", re.IGNORECASE)),
    ("radians", 1 / (2 * math.pi), re.compile(r"(?:\b|_)rad(?:ians?)?$", re.IGNORECASE)),
    ("degrees", 1 / 360, re.compile(r"(?:(?:\b|_)deg(?:rees?)?|°)$", re.IGNORECASE)),
)


@frozen
class RobotUnit:
    """``unit`` in words, ``factor`` to ours that one of it is, and ``if_so``: what is supposed thereby."""

    unit: str
    factor: float
    if_so: str = ""


def robot_unit(said: str, robot: Robot) -> RobotUnit | None:
    """The unit of speed that stands behind a number or in its name, as rpm; None where it is none of these."""
    counted, per_turn = COUNTED.search(said), Limits.of(robot).counts_per_turn
    if counted is not None and per_turn:
        ms = _milliseconds(counted)
        unit = {1000.0: "counts/s", 60_000.0: "counts/min"}.get(ms, f"counts per {ms:g} ms")
        return RobotUnit(unit, 60_000 / ms / per_turn, "it counts the encoder of the profile") if ms else None
    rim = math.pi * robot.launcher.mechanism.by_motion(lambda wheel: wheel.wheel_diameter, lambda _: 0.0)
    if _RIM.search(said) and rim:
        return RobotUnit("m/s", 60 / rim, "it is the speed of the wheel's rim")
    return None


def _milliseconds(counted: re.Match[str]) -> float:
    if counted["min"]:
        return 60_000.0
    if counted["part"]:
        return 1000 * float(counted["part"])
    return float(counted["ms"] or counted["in_ms"] or 1000)


def hertz(said: str, robot: Robot) -> tuple[RobotUnit, ...]:
    """What Hz, behind a number or in its name, may be of, as rpm: turns of the wheel, or counts of its encoder."""
    found, per_turn = _HERTZ.search(said), Limits.of(robot).counts_per_turn
    if found is None:
        return ()
    rpm = 60_000.0 if found[1] else 60.0
    turns = RobotUnit(f"{found[1]}Hz", rpm, "it is how often the wheel turns")
    return (
        (turns, RobotUnit(f"{found[1]}Hz of counts", rpm / per_turn, "it is how often the encoder counts"))
        if (per_turn)
        else (turns,)
    )


def motor_rpm(said: str, robot: Robot) -> RobotUnit | None:
    """The speed of a motor that does not turn as the wheel does, by a name that says motor; None for others."""
    drive = robot.drive
    if drive is None or abs(drive.reduction - 1) < 1e-3 or not _MOTOR.search(said) or _WHEEL.search(said):
        return None
    return RobotUnit("motor rpm", 1 / drive.reduction, "it is the motor's own speed")


def positions(robot: Robot) -> tuple[RobotUnit, ...]:
    """Units of the angle turned since the start, as counts: those of the shaft that has the encoder come first."""
    encoder, drive = robot.encoder, robot.drive
    if encoder is None:
        return ()
    of_shaft = float(encoder.counts_per_turn)
    shafts = [(encoder.on, of_shaft)]
    if drive is not None and abs(drive.reduction - 1) > 1e-3:
        on_motor = encoder.on == "motor"
        other = of_shaft * drive.reduction if on_motor else of_shaft / drive.reduction
        shafts.append(("wheel" if on_motor else "motor", other))
    return tuple(RobotUnit(f"{shaft} {unit}", share * counts) for unit, share, _ in _ANGLES for shaft, counts in shafts)


def position(said: str, robot: Robot) -> RobotUnit | None:
    """The unit of an angle that a name, or what stands behind a number, tells; None where neither does."""
    named = next((unit for unit, _, words in _ANGLES if words.search(said)), None)
    if named is None:
        return None
    shaft = "motor" if _MOTOR.search(said) else "wheel" if _WHEEL.search(said) else ""
    fits = [one for one in positions(robot) if one.unit.endswith(named)]
    return next((one for one in fits if one.unit.startswith(shaft)), fits[0] if fits else None)
