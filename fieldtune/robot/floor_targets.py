"""Targets reached over the floor: zones and gates."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fieldtune.robot.targets import T, Target, TargetOutline

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.physics.openings import Free
    from fieldtune.robot.element import Element
    from fieldtune.robot.model import Robot
    from fieldtune.robot.table_reader import Findings


class FloorTarget(Target):
    """Reached over the floor."""

    __slots__ = ()
    usual_height = 0.0

    def size_of(self, element: Element) -> float:
        return element.extent

    def by_way(self, flight: Callable[[], T], floor: Callable[[], T]) -> T:
        return floor()

    @property
    def resistance(self) -> Literal["drag", "friction"]:
        return "friction"

    @property
    def width(self) -> float:
        return self.opening[-1]

    def check(self, robot: Robot, path: str, findings: Findings) -> None:
        """A throw that lands before it slides is computed, but bounces are known roughly at best."""
        if robot.lands_first and robot.floor.restitution is None and not findings.noted("floor.restitution"):
            findings.warn(
                "floor.restitution",
                "not given; the element lands before it slides: drop it, and take the root of rebound over drop height",
            )

    def outline(self, distance: float) -> TargetOutline:
        left, right, half = distance - self.depth / 2, distance + self.depth / 2, self.width / 2
        if not self.depth:
            ends = ((distance, -half), (distance, half))
            return TargetOutline((), (ends,), ends, (left, right, -half, half), 0.0)
        box = ((left, -half), (right, -half), (right, half), (left, half), (left, -half))
        return TargetOutline((box,), (), (), (left, right, -half, half), 0.0)


@dataclass(frozen=True, slots=True)
class Zone(FloorTarget):
    """A part of the floor in which the element has to stop."""

    kind = "zone"
    expected_opening = '[depth, width], such as ["40 cm", "50 cm"]'
    sizes = (2,)

    @property
    def depth(self) -> float:
        return self.opening[0]

    @property
    def holds_still(self) -> bool:
        return True

    def free(self, element: Element, slope: ArrayLike, bend: ArrayLike = 0.0, rises: bool = False) -> Free:
        from fieldtune.physics.openings import lying

        depth, width = (edge - 2 * self.clearance for edge in (self.depth, self.width))
        return lying(depth, width, element.extent, slope)

    def check(self, robot: Robot, path: str, findings: Findings) -> None:
        """On a slope steeper than friction, or a ball's rolling resistance, can hold, nothing comes to rest."""
        element, floor = robot.element, robot.floor
        rolls = element.shape == "sphere"
        holds, name = (floor.rolling, "rolling resistance") if rolls else (floor.friction, "friction")
        if abs(math.tan(floor.slope)) >= holds:
            found, steepest = f"found {math.degrees(floor.slope):.3g} deg", math.degrees(math.atan(holds))
            if floor.slope < 0:
                words = f"{found}; expected less than {steepest:.1f} deg down: with this {name} nothing stops"
                findings.error("floor.slope", words)
            elif rolls:
                words = f"{found}; expected less than {steepest:.1f} deg up: with this {name} the ball rolls back"
                findings.error("floor.slope", words)
            else:
                findings.warn("floor.slope", f"{found} up, where the element may slide back once it has stopped")
        FloorTarget.check(self, robot, path, findings)


@dataclass(frozen=True, slots=True)
class Gate(FloorTarget):
    """A line on the floor that the element has to pass."""

    kind = "gate"
    expected_opening = 'a width such as "50 cm"'
    sizes = (1,)

    @property
    def depth(self) -> float:
        return 0.0

    @property
    def slowest_wins(self) -> bool:
        return True

    def bare(self) -> tuple[float, float, float]:
        return 0.0, math.inf, self.width / 2

    def free(self, element: Element, slope: ArrayLike, bend: ArrayLike = 0.0, rises: bool = False) -> Free:
        from fieldtune.physics.openings import passed

        return passed(self.width - 2 * self.clearance, element.extent, slope)
