"""Flywheels: one wheel against a rail, or a pair."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldtune.constants import RPM
from fieldtune.frozen import frozen
from fieldtune.person_units import amount
from fieldtune.robot.launchers import Level, Mechanism, Outline, T, Variation
from fieldtune.robot.setpoints import SetpointRange, SetpointScale
from fieldtune.units import ANGULAR_SPEED, DENSITY, INERTIA, LENGTH, PRESSURE, RATIO, shown

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray
    from fieldtune.physics.flywheel import Drop
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.drivetrain import Drive, Train
    from fieldtune.robot.element import Element, Shape
    from fieldtune.robot.model import Uncertainty
    from fieldtune.robot.starter_texts import StarterText
    from fieldtune.robot.table_reader import Section


@frozen
class Flywheel(Mechanism):
    """One wheel against a rail (``wheels`` = 1) or a pair; inertia per wheel, referred to its axis, kg m^2.

    ``speed_ratio`` is the second (upper) wheel's speed over the first (lower) one's: below 1 gives backspin.
    Stated by the maker, or by whoever tested a like one: ``wheel_strength``, the stress its material stands (Pa), and
    ``wheel_top_speed`` (rad/s).
    """

    kind = "flywheel"

    wheels: int
    wheel_diameter: float
    wheel_inertia: float | None
    speed_ratio: float
    grip: float
    wheel_density: float | None = None
    wheel_strength: float | None = None
    wheel_top_speed: float | None = None

    # -- the profile

    @classmethod
    def profile_keys(cls) -> tuple[str, ...]:
        return (
            *("wheels", "wheel_diameter", "wheel_inertia", "wheel_density", "wheel_strength", "wheel_top_speed"),
            *("speed_ratio", "grip"),
        )

    @classmethod
    def read(cls, section: Section) -> Flywheel:
        wheels = section.integer("wheels", least=1, most=2)
        if wheels == 1 and "speed_ratio" in section:
            section.warn("speed_ratio", "has no effect with one wheel")
        if "grip" not in section:
            section.warn("grip", "not given; taken as 0.85 until shots tell")
        wheel = cls(
            wheels=wheels,
            wheel_diameter=section.quantity("wheel_diameter", LENGTH, over="0 mm", most="1 m", usual=("2 cm", "30 cm")),
            wheel_inertia=section.maybe("wheel_inertia", INERTIA, over="0 kg m^2", most="10 kg m^2"),
            speed_ratio=section.quantity("speed_ratio", RATIO, 1.0, over="0", most="10"),
            grip=section.quantity(
                "grip", RATIO, 0.85, over="0", most="1.2", usual=("0.3", "1.0"),
                why="exit speed over ideal rolling speed",
            ),
            wheel_density=section.maybe("wheel_density", DENSITY, over="0 kg/m^3", most="22600 kg/m^3"),
            wheel_strength=section.maybe(
                "wheel_strength", PRESSURE, over="0 MPa", most="5000 MPa", usual=("0.5 MPa", "1000 MPa")
            ),
            wheel_top_speed=section.maybe("wheel_top_speed", ANGULAR_SPEED, over="0 rpm", most="200000 rpm"),
        )  # fmt: skip
        wheel._doubt_inertia(section)
        return wheel

    def _doubt_inertia(self, section: Section) -> None:
        """Compares with a solid steel disc (7850 kg/m^3) as thick as half its diameter: m d^2 / 8."""
        solid = 7850 * math.pi / 8 * self.wheel_diameter**3 * self.wheel_diameter**2 / 8
        found, times = f"found {shown(section.values.get('wheel_inertia'))}", (self.wheel_inertia or 0.0) / solid
        if "wheel_inertia" not in section:
            section.warn("wheel_inertia", "not given; drop in speed, recovery and rate of fire stay unknown")
        elif self.wheel_inertia is None:
            return  # what is wrong with it is noted already
        elif times > 30:
            section.error(
                "wheel_inertia", f"{found}, {times:.0f} times a solid steel wheel's; expected less, check the unit"
            )
        elif not 0.001 < times < 2:
            section.warn("wheel_inertia", f"{found}, {times:.2g} times a solid steel wheel's; check the unit")

    @classmethod
    def starter(cls) -> StarterText:
        from fieldtune.robot.starter_texts import FLYWHEEL

        return FLYWHEEL

    @property
    def usual_exit_angle(self) -> float | None:
        return None

    def usual_exit_height(self, element: Element) -> float | None:
        return None

    def usual_setpoints(self, section: Section, drive: Drive | None) -> SetpointRange:
        if drive is not None and drive.control == "power":
            return SetpointRange("%", 10.0, 100.0, 1.0)
        if drive is None and not ("low" in section and "high" in section):
            section.warn("", "not given, and no [drive] to tell it from; taken as 300 to 6000 rpm")
        free = math.nan if drive is None else drive.no_load_output / RPM
        if math.isnan(free):  # no drive, or one whose error is noted already
            return SetpointRange("rpm", 300.0, 6000.0, 10.0)
        low, high = max(10.0, 10 * round(free / 100)), max(20.0, 10 * math.floor(free / 10 + 1e-6))
        return SetpointRange("rpm", low, high, 10.0)

    def check_setpoints(self, section: Section, found: SetpointRange, drive: Drive | None) -> SetpointRange:
        free = math.inf if drive is None or not found.scale.is_speed else drive.no_load_output / RPM
        if found.high > free * 1.001:
            section.warn("high", f"is above the wheel's no-load speed of {free:.0f} rpm at nominal voltage")
        return found

    @property
    def unknown(self) -> tuple[str, ...]:
        lines = []
        if self.wheel_inertia is None:
            lines.append(
                "launcher.wheel_inertia unknown: no spin-up, drop or recovery; the ceiling counts only holding"
            )
        if self.wheel_density is None:
            lines.append("launcher.wheel_density not given: rim stress unknown")
        return tuple(lines)

    def derived_lines(self, drive: Drive | None) -> tuple[str, ...]:
        if drive is None:
            return ()
        rim = drive.no_load_output * self.wheel_diameter / 2
        return (
            f"exit: {amount(self.grip * self.rim_share * rim, 'm/s', 1)} at that speed, rim {amount(rim, 'm/s', 1)}",
        )

    # -- the throw

    @property
    def rim_share(self) -> float:
        """Exit speed over the first wheel's rim speed without slip."""
        return (1 + self.speed_ratio) / 2 if self.wheels == 2 else 0.5

    def exit_speed(self, quantity: ArrayLike, element: Element) -> FloatArray:
        import numpy as np

        from fieldtune.physics.flywheel import exit_speed

        omega = np.asarray(quantity, dtype=float) * RPM
        return exit_speed(omega, self.wheel_diameter, wheels=self.wheels, speed_ratio=self.speed_ratio, grip=self.grip)

    def quantity_for(self, speed: ArrayLike, element: Element, highest: float) -> FloatArray:
        import numpy as np

        return np.asarray(np.asarray(speed, dtype=float) / self.exit_speed(1.0, element), dtype=float)

    @property
    def spin_ratio(self) -> float:
        """A pair spins the element by half the difference of its rim speeds; one wheel on a rail rolls it."""
        return 1.0 if self.wheels == 1 else (1.0 - self.speed_ratio) / (1.0 + self.speed_ratio)

    @property
    def level(self) -> Level:
        return Level("grip", self.grip, 1)

    def level_spread(self, given: Uncertainty) -> float:
        return given.grip

    # -- what moves

    def by_motion(self, wheel: Callable[[Flywheel], T], drawn: Callable[[Drawn], T]) -> T:
        return wheel(self)

    @property
    def turning_inertia(self) -> float | None:
        """Of the wheels alone. The second one turns ``speed_ratio`` times as fast: its energy grows with the square."""
        if self.wheel_inertia is None:
            return None
        return self.wheel_inertia * (1 + (self.speed_ratio**2 if self.wheels == 2 else 0.0))

    def moves(self, wheel_rpm: float | None, wheel2_rpm: float | None, draw_mm: float | None) -> bool:
        return (wheel_rpm or 0.0) > 60.0 or (wheel2_rpm or 0.0) > 60.0

    @property
    def second_ratio(self) -> float | None:
        """Speed of the second wheel over the first one's; None where there is only one."""
        return self.speed_ratio if self.wheels == 2 else None

    @property
    def fastest(self) -> float:
        """Speed of the faster wheel over the one that the setpoint is about."""
        return max(1.0, self.speed_ratio) if self.wheels == 2 else 1.0

    def fastest_driven(self, motors: int) -> float:
        """The same for the wheel that a motor has to turn fastest: above 1 only for a pair with a motor each."""
        return self.fastest if motors >= 2 else 1.0

    def outline(self, exit_angle: float, exit_height: float, element: Element) -> Outline:
        radius = self.wheel_diameter / 2
        along = (math.cos(exit_angle), math.sin(exit_angle))
        offset = radius + 0.45 * element.passing_size
        middle = (-0.7 * radius * along[0], exit_height - 0.7 * radius * along[1])
        sides = (1, -1) if self.wheels == 2 else (-1,)
        circles = tuple((middle[0] - s * offset * along[1], middle[1] + s * offset * along[0], radius) for s in sides)
        return Outline((), circles, -0.03, max(0.75 * exit_height, 0.03))

    # -- energy

    def shot(
        self, rpm: ArrayLike, element: Element, rotors: ArrayLike = 0.0, exit_speed: ArrayLike | None = None
    ) -> Drop | None:
        """What a shot at these rpm takes out of the wheels; None without inertia.

        ``exit_speed`` (m/s): the profile's where None. ``rotors``: inertia (kg m^2) that turns with the wheels, at
        their axis; of a pair each has half of it.
        """
        import numpy as np

        from fieldtune.physics.flywheel import impulse_drop

        if self.wheel_inertia is None:
            return None
        each = self.wheel_inertia + np.asarray(rotors, dtype=float) / self.wheels
        return impulse_drop(
            element.mass,
            self.exit_speed(rpm, element) if exit_speed is None else exit_speed,
            self.wheel_diameter / 2,
            each,
            np.asarray(rpm, dtype=float) * RPM,
            wheels=self.wheels,
            speed_ratio=self.speed_ratio,
            inertia_ratio=element.inertia_ratio,
        )

    def shot_energy(self, quantity: ArrayLike, element: Element, rotors: ArrayLike = 0.0) -> FloatArray | None:
        shot = self.shot(quantity, element, rotors)
        return None if shot is None or self.speed_kept(element, rotors) == 0 else shot.energy

    def drop(self, shot: Drop) -> FloatArray:
        """Drop (rad/s) of the first wheel's speed; of an unequal pair the mean by the energy of each wheel."""
        import numpy as np

        weights = np.array([1.0, self.speed_ratio])[: self.wheels]
        return np.asarray(np.tensordot(weights, shot.drop, 1) / float(weights @ weights))

    def speed_kept(self, element: Element, rotors: ArrayLike = 0.0) -> FloatArray | None:
        """Share of its speed that a wheel keeps through a shot, the same at any speed; None without wheel inertia.

        Zero where a shot takes more than the wheels hold. ``rotors`` as for ``shot``.
        """
        import numpy as np

        shot = self.shot(1000.0, element, rotors)
        return None if shot is None else np.asarray(np.maximum(1 - self.drop(shot) / (1000.0 * RPM), 0.0))

    def stored_energy(self, quantity: float) -> float | None:
        inertia = self.turning_inertia
        return None if inertia is None else 0.5 * inertia * (quantity * RPM) ** 2

    def kept_energy(self, quantity: float) -> float | None:
        return self.stored_energy(quantity)

    def lost_energy(self, quantity: float, element: Element) -> float | None:
        taken = self.shot_energy(quantity, element)
        if taken is None:
            return None
        return float(taken) - float(element.energy(self.spin_ratio, self.exit_speed(quantity, element)))

    # -- the drive

    def ceiling(
        self, supply: Train, crank: float | None, open_circuit_v: ArrayLike, between_s: float, element: Element
    ) -> FloatArray:
        """A wheel at full power approaches its no-load speed w_f with one time constant, and a shot takes a fixed share
        of its speed, w -> r w. So the highest speed w of which a share b is back after a time T has a closed form:
        w = w_f (e - 1) / (b e - r), e = exp(T / tau), and never above w_f. Without inertia only the holding counts.
        """  # fmt: skip
        import numpy as np

        from fieldtune.robot.drivetrain import back_share

        free = supply.no_load_speed(open_circuit_v) / self.fastest_driven(supply.motors)
        kept = self.speed_kept(element, supply.rotors)
        if self.turning_inertia is None or kept is None:
            return np.asarray(free / RPM, dtype=float)
        tau = supply.time_constant(self.turning_inertia + supply.rotors)
        grown = np.exp(np.minimum(between_s / tau, 50.0))
        recovered = free * (grown - 1) / (back_share(kept) * grown - kept)
        return np.asarray(np.minimum(free, recovered) / RPM, dtype=float)

    def lowest_voltage(
        self, supply: Train, crank: float | None, quantity: float, between_s: float, element: Element
    ) -> float | None:
        """The ceiling is a straight line in the voltage, from what the motors' own drag takes on."""  # fmt: skip
        m = supply.motor
        own = m.no_load_current * m.resistance
        return own + quantity / float(self.ceiling(supply, crank, own + 1.0, between_s, element))

    @property
    def driven_part(self) -> str:
        return "wheel"

    @property
    def parts(self) -> int:
        return self.wheels

    @property
    def shapes(self) -> tuple[Shape, ...]:
        return ("sphere", "disc") if self.wheels == 2 else ("sphere",)

    def variations(self) -> tuple[Variation, ...]:
        def larger(by: int) -> Mechanism:
            return replace(self, wheel_diameter=max(0.01, self.wheel_diameter + 0.002 * by))

        return (Variation("Wheel diameter", amount(1000 * self.wheel_diameter, "mm", 0), larger),)

    # -- words

    @property
    def measured(self) -> tuple[str, str]:
        return "rpm", "speed_rpm"

    def noun(self, scale: SetpointScale) -> str:
        return "drive" if scale.follows_voltage else "wheel"

    def order(self, scale: SetpointScale) -> str:
        return f"Set the {self.noun(scale)} to"

    @property
    def loaded_words(self) -> tuple[str, str]:
        return "Wheel turning fast", "A fast wheel"

    @property
    def heading(self) -> str:
        return "Wheel and drive"

    @property
    def load_steps(self) -> tuple[str, str]:
        return "hold the wheel at its lowest setpoint", "now go to the highest setpoint at once"
