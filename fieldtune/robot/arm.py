"""Swinging arms that throw the element from their tip."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.robot.drawn import SPRUNG, Drawn
from fieldtune.robot.launchers import Outline
from fieldtune.units import ANGLE, INERTIA, LENGTH, RATIO, TORQUE

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray
    from fieldtune.robot.element import Element, Shape
    from fieldtune.robot.setpoints import SetpointScale
    from fieldtune.robot.spring import SpringWire
    from fieldtune.robot.starter_texts import StarterText
    from fieldtune.robot.table_reader import Section


@frozen
class Arm(Drawn):
    """A swinging arm; draw is the travel of its tip along the arc before release, metres.

    Exactly one of ``spring_rate`` (N/m at the tip) and ``torque`` (N m at the pivot) drives it. ``release_angle`` is
    the arm's elevation above the horizontal at release, seen from behind, radians: the element then leaves at
    90 degrees minus it.
    """

    kind = "arm"
    article = "an"

    arm_length: float
    arm_inertia: float
    release_angle: float
    spring_rate: float | None
    torque: float | None
    preload: float
    draw_min: float
    draw_max: float
    efficiency: float
    wire: SpringWire | None = None

    @classmethod
    def profile_keys(cls) -> tuple[str, ...]:
        return ("arm_length", "arm_inertia", "release_angle", "torque", *SPRUNG)

    @classmethod
    def read(cls, section: Section) -> Arm:
        from fieldtune.robot.spring import read_draw, read_preload, read_rate, read_wire

        wire = read_wire(section)
        length = section.quantity("arm_length", LENGTH, over="0 mm", most="5 m", usual=("3 cm", "1.5 m"))
        given = [key for key in ("spring_rate", "torque") if key in section] or ["spring"] * ("spring" in section)
        if len(given) != 1:
            found = " and ".join(given) or "neither"
            section.error("spring_rate", f"found {found}; expected either spring_rate or torque, what drives the arm")
        torque = section.maybe("torque", TORQUE, over="0 N m", most="2000 N m")
        rate = None if torque is not None or len(given) != 1 else read_rate(section, wire, length)
        section.knows("spring_rate")
        default = None
        if "release_angle" not in section and "exit_angle" in section:
            exit_angle = section.maybe("exit_angle", ANGLE)
            default = math.nan if exit_angle is None else math.pi / 2 - exit_angle
        draw_min, draw_max = read_draw(section, length)
        if "efficiency" not in section:
            section.warn("efficiency", "not given; taken as 0.8 until shots tell")
        return cls(
            arm_length=length,
            arm_inertia=section.quantity("arm_inertia", INERTIA, over="0 kg m^2", most="50 kg m^2"),
            release_angle=section.quantity("release_angle", ANGLE, default, least="-90 deg", most="180 deg"),
            spring_rate=rate,
            torque=torque,
            preload=read_preload(section, rate),
            draw_min=draw_min,
            draw_max=draw_max,
            efficiency=section.quantity("efficiency", RATIO, 0.8, over="0", most="1"),
            wire=wire,
        )

    @classmethod
    def starter(cls) -> StarterText:
        from fieldtune.robot.starter_texts import ARM

        return ARM

    @property
    def usual_exit_angle(self) -> float | None:
        return math.pi / 2 - self.release_angle

    def usual_exit_height(self, element: Element) -> float | None:
        return None

    def doubt_exit_angle(self, section: Section, angle: float) -> None:
        tangent = math.pi / 2 - self.release_angle
        if "exit_angle" in section and abs(angle - tangent) > math.radians(15):
            words = f"an arm released there throws at about {math.degrees(tangent):.0f} deg; check release_angle"
            section.warn("exit_angle", words)

    def exit_speed(self, quantity: ArrayLike, element: Element) -> FloatArray:
        import numpy as np

        from fieldtune.physics.springs import exit_speed

        return exit_speed(
            np.asarray(quantity, dtype=float) / 1000,
            arm_length=self.arm_length,
            arm_inertia=self.arm_inertia,
            element_mass=element.mass,
            release_angle=self.release_angle,
            spring_rate=self.spring_rate,
            torque=self.torque,
            preload=self.preload,
            efficiency=self.efficiency,
            arm_moment=1.5 * self.arm_inertia / self.arm_length,  # a uniform rod of that inertia: m L / 2 = 3 I / (2 L)
        )

    def tip_force(self, draw: ArrayLike) -> FloatArray:
        import numpy as np

        d = np.asarray(draw, dtype=float)
        if self.spring_rate is not None:
            return np.asarray(self.spring_rate * d + self.preload)
        return np.full_like(d, (self.torque or math.nan) / self.arm_length)

    def work(self, draw: float) -> float:
        from fieldtune.physics.springs import spring_energy

        if self.spring_rate is not None:
            return float(spring_energy(self.spring_rate, draw, self.preload))
        return (self.torque or math.nan) * draw / self.arm_length

    def kept_energy(self, quantity: float) -> float | None:
        """A torque ends with the power; a spring stays cocked."""
        return None if self.spring_rate is None else self.work(quantity / 1000)

    def stop_energy(self, draw: float, element: Element) -> float:
        """The arm keeps the element's speed."""
        speed = float(self.exit_speed(draw * 1000, element))
        return 0.5 * self.arm_inertia * (speed / self.arm_length) ** 2

    def crank_radius(self, given: float | None) -> float | None:
        """An arm without a crank is turned at its pivot."""
        return given

    @property
    def pivot_radius(self) -> float:
        return self.arm_length

    def with_spring(self, rate: float, preload: float) -> Arm:
        return self if self.spring_rate is None else replace(self, spring_rate=rate, preload=preload)

    def outline(self, exit_angle: float, exit_height: float, element: Element) -> Outline:
        """It comes over from behind, so that its tip stands behind and above the pivot at release."""
        length = self.arm_length
        pivot = (length * math.sin(exit_angle), exit_height - length * math.cos(exit_angle))
        top = min(max(0.75 * exit_height, 0.03), max(0.03, pivot[1]))
        return Outline(((pivot, (0.0, exit_height)),), ((*pivot, 0.0),), pivot[0] + 0.1, top)

    @property
    def driven_part(self) -> str:
        return "arm"

    @property
    def shapes(self) -> tuple[Shape, ...]:
        return ("sphere", "block", "disc")

    def order(self, scale: SetpointScale) -> str:
        return "Draw the arm to"

    @property
    def loaded_words(self) -> tuple[str, str]:
        return "Arm cocked", "A cocked arm"

    @property
    def own_cautions(self) -> tuple[str, ...]:
        return ("The arm sweeps its whole circle if its stop fails: stand outside it.",)
