"""Strikers: a spring drives a slider that hits the element, or pushes it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal, cast

from fieldtune.frozen import frozen
from fieldtune.robot.drawn import SPRUNG, Drawn
from fieldtune.robot.launchers import Outline
from fieldtune.units import MASS, RATIO

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray
    from fieldtune.robot.element import Element, Shape
    from fieldtune.robot.setpoints import SetpointScale
    from fieldtune.robot.spring import SpringWire
    from fieldtune.robot.starter_texts import StarterText
    from fieldtune.robot.table_reader import Section


@frozen
class Striker(Drawn):
    """A spring-driven striker. ``preload`` is the spring force at the stop (draw 0), newtons."""

    kind = "striker"

    contact: Literal["strike", "push"]
    spring_rate: float
    preload: float
    draw_min: float
    draw_max: float
    spring_mass: float
    striker_mass: float
    restitution: float
    efficiency: float
    wire: SpringWire | None = None

    @classmethod
    def profile_keys(cls) -> tuple[str, ...]:
        return ("contact", "spring_mass", "striker_mass", "restitution", *SPRUNG)

    @classmethod
    def read(cls, section: Section) -> Striker:
        from fieldtune.robot.spring import check_solid, read_draw, read_preload, read_rate, read_wire

        wire = read_wire(section)
        rate = read_rate(section, wire)
        force = read_preload(section, rate)
        draw_min, draw_max = read_draw(section)
        if wire is not None and rate is not None:
            check_solid(section, wire, draw_max, force / rate)
        if "efficiency" not in section:
            section.warn("efficiency", "not given; taken as 0.8 until shots tell")
        contact = cast(Literal["strike", "push"], section.choice("contact", ("strike", "push"), "strike"))
        return cls(
            contact=contact,
            spring_rate=math.nan if rate is None else rate,
            preload=force,
            draw_min=draw_min,
            draw_max=draw_max,
            spring_mass=section.quantity("spring_mass", MASS, 0.0, least="0 g", most="20 kg"),
            striker_mass=section.quantity("striker_mass", MASS, over="0 g", most="50 kg", usual=("1 g", "5 kg")),
            restitution=section.quantity("restitution", RATIO, 0.6, least="0", most="1"),
            efficiency=section.quantity("efficiency", RATIO, 0.8, over="0", most="1"),
            wire=wire,
        )

    @classmethod
    def starter(cls) -> StarterText:
        from fieldtune.robot.starter_texts import STRIKER

        return STRIKER

    @property
    def usual_exit_angle(self) -> float | None:
        return 0.0

    def usual_exit_height(self, element: Element) -> float | None:
        return (element.height or element.diameter or math.nan) / 2

    @property
    def moving_mass(self) -> float:
        """Striker and the spring's share that moves with it, kg."""
        from fieldtune.physics.springs import effective_mass

        return self.striker_mass + float(effective_mass(self.spring_mass))

    def exit_speed(self, quantity: ArrayLike, element: Element) -> FloatArray:
        import numpy as np

        from fieldtune.physics.springs import push, spring_energy, strike

        draw = np.asarray(quantity, dtype=float) / 1000
        energy = self.efficiency * spring_energy(self.spring_rate, draw, self.preload)
        if self.contact == "push":
            return push(energy, self.moving_mass, element.mass).exit_speed
        return strike(energy, self.moving_mass, element.mass, self.restitution).exit_speed

    def tip_force(self, draw: ArrayLike) -> FloatArray:
        import numpy as np

        return np.asarray(self.spring_rate * np.asarray(draw, dtype=float) + self.preload)

    def work(self, draw: float) -> float:
        from fieldtune.physics.springs import spring_energy

        return float(spring_energy(self.spring_rate, draw, self.preload))

    def kept_energy(self, quantity: float) -> float | None:
        return self.work(quantity / 1000)

    def stop_energy(self, draw: float, element: Element) -> float:
        """A striker that hits keeps what the collision leaves it; one that pushes keeps the element's speed."""
        from fieldtune.physics.springs import push, strike

        work = self.efficiency * self.work(draw)
        if self.contact == "push":
            return float(push(work, self.moving_mass, element.mass).energy_left)
        return float(strike(work, self.moving_mass, element.mass, self.restitution).energy_left)

    def crank_radius(self, given: float | None) -> float | None:
        """Half the longest draw where the profile gives none."""
        return self.draw_max / 2 if given is None else given

    @property
    def pivot_radius(self) -> float:
        """A striker is drawn by a crank."""
        return math.nan

    def with_spring(self, rate: float, preload: float) -> Striker:
        return replace(self, spring_rate=rate, preload=preload)

    def outline(self, exit_angle: float, exit_height: float, element: Element) -> Outline:
        tail = (-0.25 * math.cos(exit_angle), exit_height - 0.25 * math.sin(exit_angle))
        return Outline(((tail, (0.0, exit_height)),), (), -0.03, max(0.75 * exit_height, 0.03))

    @property
    def driven_part(self) -> str:
        return "crank"

    @property
    def shapes(self) -> tuple[Shape, ...]:
        return ("disc", "block", "sphere")

    def order(self, scale: SetpointScale) -> str:
        return "Draw the spring to"

    @property
    def loaded_words(self) -> tuple[str, str]:
        return "Spring cocked", "A cocked spring"
