"""Every kind of launcher and target there is, by the profile's word for it, and reading ``[launcher]``."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fieldtune.person_units import size
from fieldtune.robot.arm import Arm
from fieldtune.robot.flywheel import Flywheel
from fieldtune.robot.launchers import Launcher, Mechanism
from fieldtune.robot.striker import Striker
from fieldtune.robot.target_kinds import Basket, Gate, Window, Zone
from fieldtune.units import ANGLE, LENGTH, shown

if TYPE_CHECKING:
    from fieldtune.robot.element import Element
    from fieldtune.robot.table_reader import Section
    from fieldtune.robot.targets import Target

LAUNCHERS: dict[str, type[Mechanism]] = {kind.kind: kind for kind in (Flywheel, Striker, Arm)}
TARGETS: dict[str, type[Target]] = {kind.kind: kind for kind in (Basket, Window, Zone, Gate)}


# Reads ``[launcher]``: by which mechanism the element is launched, and how it leaves.


def read_launcher(section: Section, element: Element) -> Launcher | None:
    """The mechanism and its exit; None where its kind can't be told, so that no value in the table can be judged."""
    kind = section.choice("kind", tuple(LAUNCHERS))
    if section.faulty("kind"):
        section.knows(
            "exit_angle", "exit_height", *(key for owner in LAUNCHERS.values() for key in owner.profile_keys())
        )
        section.close()
        return None
    _refuse_foreign_keys(section, LAUNCHERS[kind])
    mechanism = LAUNCHERS[kind].read(section)
    launcher = Launcher(_exit_angle(section, mechanism), _exit_height(section, mechanism, element), mechanism)
    section.close()
    return launcher


def _refuse_foreign_keys(section: Section, kind: type[Mechanism]) -> None:
    for key in section.values:
        owners = [f"{other.article} {other.kind}" for other in LAUNCHERS.values() if key in other.profile_keys()]
        if owners and key not in kind.profile_keys():
            section.take(key)
            section.error(key, f"does not belong to a launcher of kind {kind.kind} but to {' or '.join(owners)}")


def _exit_angle(section: Section, mechanism: Mechanism) -> float:
    angle = section.quantity("exit_angle", ANGLE, mechanism.usual_exit_angle, usual=("-30 deg", "85 deg"))
    if not abs(angle) < math.radians(89.5) and not math.isnan(angle):
        key = "exit_angle" if "exit_angle" in section else "release_angle"
        where = "up, the element falls back on the robot" if angle > 0 else "down, it goes nowhere"
        found = shown(section.values.get(key))
        section.error(key, f"found {found}; expected an exit between -89 and 89 deg: straight {where}")
    mechanism.doubt_exit_angle(section, angle)
    return angle


def _exit_height(section: Section, mechanism: Mechanism, element: Element) -> float:
    half = (element.height or element.diameter or math.nan) / 2
    default = mechanism.usual_exit_height(element)
    height = section.quantity("exit_height", LENGTH, default, least="0 mm", most="20 m", usual=(None, "3 m"))
    if height < half - 5e-4:
        section.warn(
            "exit_height",
            f"is to the element's centre, which can't be lower than {size(half * 1e3, 0)}",
        )
    return height
