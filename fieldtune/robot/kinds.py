"""Every kind of launcher and of target there is, by the profile's word for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldtune.robot.arm import Arm
from fieldtune.robot.flight_targets import Basket, Window
from fieldtune.robot.floor_targets import Gate, Zone
from fieldtune.robot.flywheel import Flywheel
from fieldtune.robot.striker import Striker

if TYPE_CHECKING:
    from fieldtune.robot.launchers import Mechanism
    from fieldtune.robot.targets import Target

LAUNCHERS: dict[str, type[Mechanism]] = {kind.kind: kind for kind in (Flywheel, Striker, Arm)}
TARGETS: dict[str, type[Target]] = {kind.kind: kind for kind in (Basket, Window, Zone, Gate)}
