"""What differs from one kind of launcher to another: every kind is one class that answers all of this.

A drive *quantity* is what a setpoint acts through: wheel rpm, or draw in mm. A new kind is one subclass of
``Mechanism`` (of ``Drawn``, if a drive cocks it) and its name in ``kinds.LAUNCHERS``; the type checker names whatever
it doesn't answer yet.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, TypeVar

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.drivetrain import Drive, Train
    from fieldtune.robot.element import Element, Shape
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Uncertainty
    from fieldtune.robot.setpoints import SetpointRange, SetpointScale
    from fieldtune.robot.starter_texts import StarterText
    from fieldtune.robot.table_reader import Section

T = TypeVar("T")
Point = tuple[float, float]


@frozen
class Outline:
    """A launcher seen from the side, metres: x from the exit, positive towards the target, y above the floor.

    ``lines`` are open polylines, ``circles`` are x, y and radius (0: a mark, such as a pivot). The robot's body may
    reach forward to ``front`` and up to ``top``.
    """

    lines: tuple[tuple[Point, ...], ...]
    circles: tuple[tuple[float, float, float], ...]
    front: float
    top: float


@frozen
class Level:
    """The number of the profile that says how hard it throws: exit speed goes with its ``root``-th root."""

    name: str
    value: float
    root: int


@frozen
class Variation:
    """Something that can be another size: how it reads now, and the mechanism with it some steps up or down."""

    name: str
    reading: str
    stepped: Callable[[int], Mechanism]


class Mechanism(ABC):
    """A mechanism that launches elements."""

    __slots__ = ()

    kind: ClassVar[str]
    article: ClassVar[str] = "a"

    # -- the profile

    @classmethod
    @abstractmethod
    def profile_keys(cls) -> tuple[str, ...]:
        """Keys of ``[launcher]`` that belong to this kind."""

    @classmethod
    @abstractmethod
    def read(cls, section: Section) -> Mechanism:
        """From ``[launcher]``; what is wrong is noted there."""

    @classmethod
    @abstractmethod
    def starter(cls) -> StarterText:
        """A commented profile to start from."""

    @property
    @abstractmethod
    def usual_exit_angle(self) -> float | None:
        """Exit angle (rad) where the profile gives none; None: it has to."""

    @abstractmethod
    def usual_exit_height(self, element: Element) -> float | None:
        """Exit height (m) where the profile gives none; None: it has to."""

    def doubt_exit_angle(self, section: Section, angle: float) -> None:
        """Notes an exit angle (rad) that does not go with the rest of the mechanism."""
        return

    @abstractmethod
    def usual_setpoints(self, section: Section, drive: Drive | None) -> SetpointRange:
        """What the robot program accepts where the profile doesn't say."""

    @abstractmethod
    def check_setpoints(self, section: Section, found: SetpointRange, drive: Drive | None) -> SetpointRange:
        """The range that the profile asks for, cut to what the mechanism can do, with doubts noted."""

    @property
    @abstractmethod
    def unknown(self) -> tuple[str, ...]:
        """What sizing misses in the profile, one line each with what stays unknown for it."""

    @abstractmethod
    def derived_lines(self, drive: Drive | None) -> tuple[str, ...]:
        """Figures that follow from the profile alone, one line each."""

    # -- the throw

    @abstractmethod
    def exit_speed(self, quantity: ArrayLike, element: Element) -> FloatArray:
        """Exit speed (m/s) by the profile's physics at drive quantities (n,); 0 where nothing leaves."""

    @abstractmethod
    def quantity_for(self, speed: ArrayLike, element: Element, highest: float) -> FloatArray:
        """Drive quantities (n,) behind exit speeds (m/s), the inverse; nan beyond ``highest`` where that is a bound."""

    @property
    def spin_ratio(self) -> float:
        """Surface speed of the element's spin over its exit speed, backspin positive."""
        return 0.0

    @property
    @abstractmethod
    def level(self) -> Level:
        """How hard it throws, as the profile says it."""

    @abstractmethod
    def level_spread(self, given: Uncertainty) -> float:
        """One standard deviation of ln(exit speed) before any shot."""

    # -- what moves

    @abstractmethod
    def by_motion(self, wheel: Callable[[Flywheel], T], drawn: Callable[[Drawn], T]) -> T:
        """One of two answers, for rooms above this one: for what turns all the time, and for what is cocked each time.

        Both have to be given, so that neither is forgotten.
        """

    @property
    @abstractmethod
    def turning_inertia(self) -> float | None:
        """Inertia (kg m^2) of all wheels referred to the first one's speed; None where there are none or unknown."""

    @abstractmethod
    def moves(self, wheel_rpm: float | None, wheel2_rpm: float | None, draw_mm: float | None) -> bool:
        """Whether something fast or loaded is there: a turning wheel, a drawn spring."""

    @abstractmethod
    def outline(self, exit_angle: float, exit_height: float, element: Element) -> Outline:
        """The mechanism to scale, seen from the side."""

    # -- energy

    @abstractmethod
    def shot_energy(self, quantity: ArrayLike, element: Element, rotors: ArrayLike = 0.0) -> FloatArray | None:
        """Energy (J) that one shot takes out of the wheels or out of the spring; None where unknown.

        ``rotors``: inertia (kg m^2) of the motors' rotors at the output.
        """

    @abstractmethod
    def stored_energy(self, quantity: float) -> float | None:
        """Energy (J) held in turning wheels or a cocked spring at a drive quantity; None where unknown."""

    @abstractmethod
    def kept_energy(self, quantity: float) -> float | None:
        """What of it is still there with the power off."""

    @abstractmethod
    def lost_energy(self, quantity: float, element: Element) -> float | None:
        """Energy (J) of a shot that wears: slip between wheel and element, or what goes into the stop."""

    # -- the drive

    @abstractmethod
    def ceiling(
        self, supply: Train, crank: float | None, open_circuit_v: ArrayLike, between_s: float, element: Element
    ) -> FloatArray | None:
        """Highest drive quantity held and recovered to between shots ``between_s`` seconds apart.

        ``crank``: the profile's crank radius (m). Broadcasts over voltages (V at rest) and the supply's gear trains.
        """  # fmt: skip

    @abstractmethod
    def lowest_voltage(
        self, supply: Train, crank: float | None, quantity: float, between_s: float, element: Element
    ) -> float | None:
        """Voltage at rest (V) below which a drive quantity is no longer held and recovered to: the ceiling backwards.

        None for a quantity that the mechanism can't have.
        """  # fmt: skip

    @property
    @abstractmethod
    def driven_part(self) -> str:
        """What the drive turns: wheel, crank or arm."""

    @property
    @abstractmethod
    def parts(self) -> int:
        """Moving parts beside motors and gears."""

    @property
    @abstractmethod
    def shapes(self) -> tuple[Shape, ...]:
        """Element shapes it can usually handle, the most usual first (common practice)."""

    @abstractmethod
    def variations(self) -> tuple[Variation, ...]:
        """What of it can be tried in another size."""

    # -- words

    @property
    @abstractmethod
    def measured(self) -> tuple[str, str]:
        """What is measured at a release: its unit, and the field of a seen shot that holds it."""

    @abstractmethod
    def noun(self, scale: SetpointScale) -> str:
        """The thing whose setpoint is given."""

    @abstractmethod
    def order(self, scale: SetpointScale) -> str:
        """What to do with a setpoint: ``Set the wheel to``."""

    @property
    @abstractmethod
    def loaded_words(self) -> tuple[str, str]:
        """How it is said that it moves or is loaded now, and what of it can hurt at any time."""

    @property
    @abstractmethod
    def heading(self) -> str:
        """Heading over its figures."""

    @property
    @abstractmethod
    def load_steps(self) -> tuple[str, str]:
        """How to make a small load and then a large one with it, for a test of the battery."""

    @property
    def own_cautions(self) -> tuple[str, ...]:
        """Cautions that no figure calls for."""
        return ()


@frozen
class Launcher:
    """The mechanism and where the element leaves it: angle above the horizontal (rad), centre's height (m)."""

    exit_angle: float
    exit_height: float
    mechanism: Mechanism

    @property
    def kind(self) -> str:
        """The profile's word for the mechanism."""
        return self.mechanism.kind
