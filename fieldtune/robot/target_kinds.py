"""The kinds of targets: baskets and windows are reached through the air, zones and gates over the floor."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from fieldtune.frozen import frozen
from fieldtune.person_units import how_far, size
from fieldtune.robot.targets import T, Target, TargetOutline
from fieldtune.units import LENGTH, shown

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.arrays import BoolArray, FloatArray
    from fieldtune.physics.openings import Free
    from fieldtune.physics.rim_bounce import Rim
    from fieldtune.robot.element import Element
    from fieldtune.robot.model import Robot
    from fieldtune.robot.table_reader import Findings, Section


class FlightTarget(Target):
    """Reached through the air."""

    __slots__ = ()
    usual_height = None

    def size_of(self, element: Element) -> float:
        return element.passing_size

    def by_way(self, flight: Callable[[], T], floor: Callable[[], T]) -> T:
        return flight()

    @property
    def resistance(self) -> Literal["drag", "friction"]:
        return "drag"

    def check(self, robot: Robot, path: str, findings: Findings) -> None:
        """An element that leaves level or downwards never gets above its exit."""
        launcher = robot.launcher
        if launcher.exit_angle <= 0 and self.height >= launcher.exit_height:
            found, least = how_far(self.height), how_far(launcher.exit_height)
            angle = math.degrees(launcher.exit_angle)
            findings.error(
                f"{path}.height",
                f"found {found}; expected less than exit_height, {least}, since the element leaves at {angle:.0f} deg",
            )


_THICK_RIM = 0.1
"""Rims thicker than this (m) are doubted: common practice."""


@frozen
class Basket(FlightTarget):
    """A level opening, entered from above.

    ``rim``: thickness (m) of its rim; ``board``: width, height and distance behind the rim (m) of a board that begins
    at the rim's height; None where the profile doesn't say.
    """

    kind = "basket"
    expected_opening = 'a diameter such as "30 cm", or [depth, width]'
    sizes = (1, 2)

    rim: float | None = None
    board: tuple[float, float, float] | None = None

    def with_parts(self, section: Section) -> Basket:
        rim = section.maybe("rim", LENGTH, over="0 mm", most="50 cm", usual=("1 mm", None))
        raw, board = section.take("board"), None
        if raw is not None and not (isinstance(raw, list) and len(raw) == 3):
            words = 'expected width, height and distance behind the rim, such as ["60 cm", "45 cm", "12 cm"]'
            section.error("board", f"found {shown(raw)}; {words}")
        elif isinstance(raw, list):
            width, height, behind = (section.checked("board", size, LENGTH, least="0 mm", most="10 m") for size in raw)
            board = None if width is None or height is None or behind is None else (width, height, behind)
        key = "rim" if rim is not None else "board"
        if (rim is not None or board is not None) and len(self.opening) == 2:
            section.error(key, "belongs to a round opening, given by its diameter")
        elif rim is not None and rim >= self.depth:
            section.error(
                "rim",
                f"found {size(rim * 1e3, 0)}; expected less than the opening, {size(self.depth * 1e3, 0)}",
            )
        elif rim is not None and rim > _THICK_RIM:
            section.warn("rim", f"found {size(rim * 1e3, 0)}, more than is usual (100 mm); check number and unit")
        return replace(self, rim=rim, board=board)

    def touched(self, element: Element) -> Rim | None:
        """Discs and blocks bounce as no law here says: of them clean passes count."""
        from fieldtune.physics.rim_bounce import Rim

        if element.shape != "sphere" or (self.rim is None and self.board is None):
            return None
        return Rim(self.depth / 2 - self.clearance, (self.rim or 0.0) / 2, self.board)

    def clean_only(self, element: Element) -> str | None:
        if self.touched(element) is not None:
            return None
        if element.shape != "sphere" or len(self.opening) == 2:
            return "clean passes only"
        return "clean passes only: with rim (and board) in the profile, hits off them count"

    @property
    def depth(self) -> float:
        return self.opening[0]

    @property
    def width(self) -> float:
        return self.opening[-1]

    def free(self, element: Element, slope: ArrayLike, bend: ArrayLike = 0.0, rises: bool = False) -> Free:
        from fieldtune.physics.openings import level

        depth, width = (edge - 2 * self.clearance for edge in (self.depth, self.width))
        return level(depth, width, element.passing_size, slope, len(self.opening) == 1, bend, rises)

    def flattest_entry(self, element: Element) -> float | None:
        """asin(diameter / opening): no free depth left (Brancazio, Am. J. Phys. 49 (1981) 356)."""
        ratio = element.passing_size / max(self.depth - 2 * self.clearance, 1e-9)
        return math.asin(ratio) if ratio <= 1 else math.nan

    def room_lines(self, element: Element) -> tuple[str, ...]:
        """By entry angle: the opening looks smaller by its sine, and the element has to pass (Brancazio, as above)."""
        lines = []
        for angle in (30, 45, 60):
            left = (self.depth - 2 * self.clearance) * math.sin(math.radians(angle)) - element.passing_size
            words = f"{size(left * 1e3, 0)} free" if left > 0 else "too flat for the element to pass"
            lines.append(f"entered at {angle} deg: {words}")
        return tuple(lines)

    def rising_reason(self, slope: float) -> str | None:
        return "the element would still be rising at the basket" if slope >= 0 else None

    def outline(self, distance: float) -> TargetOutline:
        half, y = self.depth / 2, self.height
        deep = min(0.45 * y, 0.8 * self.depth)
        left, right = distance - half, distance + half
        bowl = ((left, y), (distance - 0.6 * half, y - deep), (distance + 0.6 * half, y - deep), (right, y))
        post = ((distance, 0.0), (distance, y - deep))
        rim = ((left, y), (right, y))
        return TargetOutline((bowl, post), (rim,), rim, (left, right, y - deep, y), y)

    def beyond(self, distance: float, x: FloatArray, y: FloatArray) -> BoolArray:
        import numpy as np

        if len(x) < 3:
            return np.zeros(len(x), dtype=bool)
        within = np.abs(x - distance) <= self.depth / 2
        return np.asarray(within & (np.gradient(y, x) < 0) & (y < self.height - 0.05))


@frozen
class Window(FlightTarget):
    """An upright opening; its height is that of the centre."""

    kind = "window"
    expected_opening = '[width, height], such as ["60 cm", "40 cm"]'
    sizes = (2,)

    @property
    def depth(self) -> float:
        return self.opening[-1]

    @property
    def width(self) -> float:
        return self.opening[0]

    def free(self, element: Element, slope: ArrayLike, bend: ArrayLike = 0.0, rises: bool = False) -> Free:
        from fieldtune.physics.openings import upright

        height, width = (edge - 2 * self.clearance for edge in (self.depth, self.width))
        return upright(height, width, element.passing_size, slope, bend)

    @property
    def miss_is_height(self) -> bool:
        return True

    def check(self, robot: Robot, path: str, findings: Findings) -> None:
        FlightTarget.check(self, robot, path, findings)
        if self.height < self.depth / 2 and self.fits(robot.element):
            findings.warn(f"{path}.height", "is to the window's centre; its lower edge would be below the floor")

    def outline(self, distance: float) -> TargetOutline:
        half, y = self.depth / 2, self.height
        top = y + 2.2 * half
        lines = (((distance, 0.0), (distance, y - half)), ((distance, y + half), (distance, top)))
        edges = tuple(((distance - 0.04, edge), (distance + 0.04, edge)) for edge in (y - half, y + half))
        marks = ((distance, y - half), (distance, y + half))
        return TargetOutline(lines, edges, marks, (distance - 0.01, distance + 0.01, y - half, y + half), y + half)

    def beyond(self, distance: float, x: FloatArray, y: FloatArray) -> BoolArray:
        import numpy as np

        there = np.interp(distance, x, np.nan_to_num(y, nan=-1.0))
        return np.asarray((x > distance) & (np.abs(there - self.height) > self.depth / 2))


# Targets reached over the floor: zones and gates.


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


@frozen
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


@frozen
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
