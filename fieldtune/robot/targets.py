"""What differs from one kind of target to another: every kind is one class that answers all of this.

Baskets and windows are reached through the air, zones and gates over the floor. A new kind is one subclass of
``Target`` (of ``FlightTarget`` or ``FloorTarget``) and its name in ``kinds.TARGETS``; the type checker names what it
doesn't answer yet.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, Literal, TypeVar

from fieldtune.frozen import frozen
from fieldtune.person_units import amount

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.arrays import BoolArray, FloatArray
    from fieldtune.physics.openings import Free
    from fieldtune.physics.rim_bounce import Rim
    from fieldtune.robot.element import Element
    from fieldtune.robot.model import Robot
    from fieldtune.robot.table_reader import Findings, Section

T = TypeVar("T")
Point = tuple[float, float]
Line = tuple[Point, ...]


@frozen
class TargetOutline:
    """A target to scale, metres: x from the exit; y above the floor seen from the side, across seen from above.

    ``lines`` are what is there, ``edges`` the opening's own border, ``marks`` its ends, ``free`` the box (left, right,
    low, high) that has to be met. ``top``: how high it reaches.
    """

    lines: tuple[Line, ...]
    edges: tuple[Line, ...]
    marks: tuple[Point, ...]
    free: tuple[float, float, float, float]
    top: float


@frozen
class Target(ABC):
    """Where the element has to go: ``height`` (m) of the opening's plane or centre, ``clearance`` extra on each side.

    ``opening``: basket (diameter,) or (depth, width); window (width, height); zone (depth, width); gate (width,).
    """

    kind: ClassVar[str]
    expected_opening: ClassVar[str]
    """What a profile has to give as the opening, with an example."""
    sizes: ClassVar[tuple[int, ...]]
    """How many sizes an opening may have."""
    usual_height: ClassVar[float | None]
    """Height (m) where the profile gives none; None: it has to."""

    height: float
    opening: tuple[float, ...]
    clearance: float = 0.0
    name: str | None = None
    position: tuple[float, float] | None = None
    """Where it stands on the field (x, y), metres; None where the profile doesn't say."""

    # -- geometry

    @property
    @abstractmethod
    def depth(self) -> float:
        """Size of the opening along the miss, metres; 0 where only passing counts."""

    @property
    @abstractmethod
    def width(self) -> float:
        """Size across, metres."""

    @abstractmethod
    def size_of(self, element: Element) -> float:
        """Size of an element that counts here, metres."""

    @abstractmethod
    def free(self, element: Element, slope: ArrayLike, bend: ArrayLike = 0.0, rises: bool = False) -> Free:
        """Misses that score, and half the free side width, for paths that cross with these slopes (tangent) and bends
        (its change a metre, 1/m), (n,); ``rises``: the exit lies below the opening."""

    def touched(self, element: Element) -> Rim | None:
        """Rim and board off which an element may score; None where only clean passes count."""
        return None

    def clean_only(self, element: Element) -> str | None:
        """One sentence where hits off the target's edge happen but are not counted; None elsewhere."""
        return None

    def with_parts(self, section: Section) -> Target:
        """This target with what only its kind has in a profile."""
        return self

    def bare(self) -> tuple[float, float, float]:
        """Misses within the bare opening, and half its width: what an element that did come in was within."""
        return -self.depth / 2, self.depth / 2, self.width / 2

    def flattest_entry(self, element: Element) -> float | None:
        """Flattest entry angle (rad) at which the element passes, nan where none does; None where that is no bound."""
        return None

    def fits(self, element: Element) -> bool:
        """Whether the element is smaller than the opening at all."""
        return not any(room <= 0 for room in self.room(element))  # sizes that are not known don't count

    def room(self, element: Element) -> tuple[float, ...]:
        """What the element leaves free of each size of the opening, metres."""
        return tuple(edge - 2 * self.clearance - self.size_of(element) for edge in self.opening)

    def room_lines(self, element: Element) -> tuple[str, ...]:
        """The room in words."""
        return (
            " by ".join(amount(edge * 1e3, "mm", 0) for edge in self.room(element)) + " free for the element's centre",
        )

    # -- how it is reached

    @abstractmethod
    def by_way(self, flight: Callable[[], T], floor: Callable[[], T]) -> T:
        """One of two answers, for rooms above this one: for what is reached through the air, and over the floor.

        Both have to be given, so that neither is forgotten.
        """

    @property
    @abstractmethod
    def resistance(self) -> Literal["drag", "friction"]:
        """What slows the element on its way, as ``[uncertainty]`` calls it."""

    @property
    def miss_is_height(self) -> bool:
        """Whether a miss is a height at the target, instead of a distance along the range."""
        return False

    @property
    def slowest_wins(self) -> bool:
        """Whether, of setpoints that score alike, the slowest is right: no more speed than needed."""
        return False

    @property
    def holds_still(self) -> bool:
        """Whether the element has to come to rest there."""
        return False

    def check(self, robot: Robot, path: str, findings: Findings) -> None:
        """Notes what can't work with this robot; ``path`` is the target's key path."""
        return

    def rising_reason(self, slope: float) -> str | None:
        """Why a path that crosses with this slope can't score, where that is the reason."""
        return None

    # -- pictures and words

    @abstractmethod
    def outline(self, distance: float) -> TargetOutline:
        """The target at a distance (m), from the side for flights, from above for floors."""

    def beyond(self, distance: float, x: FloatArray, y: FloatArray) -> BoolArray:
        """Where a flight's points (n,) are over: dropped into the opening, or stopped by what stands around it."""
        import numpy as np

        return np.zeros(len(x), dtype=bool)

    @property
    def miss_words(self) -> tuple[str, str]:
        """A positive and a negative miss."""
        return ("high", "low") if self.miss_is_height else ("long", "short")
