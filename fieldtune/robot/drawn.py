"""What strikers and arms have in common: a drive draws them back against the spring, and they are let go."""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.lazy import LazyModule
from fieldtune.person_units import amount, size
from fieldtune.robot.launchers import Level, Mechanism, T, Variation
from fieldtune.robot.setpoints import SetpointRange, SetpointScale

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray
    from fieldtune.robot.drivetrain import Drive, Train
    from fieldtune.robot.element import Element
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Uncertainty
    from fieldtune.robot.spring import SpringStress, SpringWire
    from fieldtune.robot.table_reader import Section
else:
    np = LazyModule("numpy")

SPRUNG = ("spring_rate", "preload", "draw_min", "draw_max", "efficiency", "spring")
"""Keys of the profile that both kinds have."""


class Drawn(Mechanism):
    """A mechanism that a drive draws back against a spring or a torque. Draws in mm as quantities, in m elsewhere."""

    __slots__ = ()

    preload: float
    draw_min: float
    draw_max: float
    efficiency: float
    spring_rate: float | None
    wire: SpringWire | None

    # -- what its kinds answer

    @abstractmethod
    def tip_force(self, draw: ArrayLike) -> FloatArray:
        """Force (N) against which the drive pulls at a draw (m): at the striker, or at the arm's tip."""

    @abstractmethod
    def work(self, draw: float) -> float:
        """Energy (J) that spring or torque puts in from a draw (m) to the release."""

    @abstractmethod
    def stop_energy(self, draw: float, element: Element) -> float:
        """Energy (J) left in the mechanism once the element has gone, which the stop takes, each cycle."""

    @abstractmethod
    def crank_radius(self, given: float | None) -> float | None:
        """Radius (m) of the cocking crank, ``given`` by the profile or the usual one; None where a pivot is turned."""

    @property
    @abstractmethod
    def pivot_radius(self) -> float:
        """Draw (m) per radian where there is no crank."""

    @abstractmethod
    def with_spring(self, rate: float, preload: float) -> Drawn:
        """The same with another spring, N/m and N."""

    # -- what follows for both

    def usual_setpoints(self, section: Section, drive: Drive | None) -> SetpointRange:
        low, high = self.draw_min * 1000, self.draw_max * 1000
        return SetpointRange("mm", max(low, min(0.5, high / 10)), high, 0.5)

    def check_setpoints(self, section: Section, found: SetpointRange, drive: Drive | None) -> SetpointRange:
        low, high = self.draw_min * 1000, self.draw_max * 1000
        if not low < high:
            return found
        if found.low < low - 1e-6 and "low" in section:
            section.warn("low", f"found {found.low:g} mm, less than draw_min; taken as {low:g} mm")
        if found.high > high + 1e-6:
            section.warn("high", f"found {found.high:g} mm, more than draw_max; taken as {high:g} mm")
        cut = replace(found, low=max(found.low, low), high=min(found.high, high))
        if found.low < found.high and cut.low >= cut.high:
            section.error("low", f"found {found.low:g} to {found.high:g} mm; expected draws of {low:g} to {high:g} mm")
        return cut

    @property
    def unknown(self) -> tuple[str, ...]:
        return ()

    def derived_lines(self, drive: Drive | None) -> tuple[str, ...]:
        if self.spring_rate is None:
            return ()
        force = self.preload + self.spring_rate * self.draw_max
        energy = (self.preload + force) / 2 * self.draw_max
        lines = [
            f"spring: {amount(force, 'N', 0)} and {amount(energy, 'J', 2)} at the longest draw; "
            "keep clear of it when cocked"
        ]
        wire = self.wire
        if wire is not None and wire.free_length is not None:
            below = size((wire.free_length - wire.solid) * 1e3, 0)
            lines.append(f"spring: solid at {size(wire.solid * 1e3, 0)}, {below} below its free length")
        return tuple(lines)

    def quantity_for(self, speed: ArrayLike, element: Element, highest: float) -> FloatArray:
        import numpy as np

        wanted, draws = np.asarray(speed, dtype=float), np.linspace(highest / 400, highest, 400)
        speeds = self.exit_speed(draws, element)
        leaves = speeds > 0
        if not leaves.any():
            return np.full_like(wanted, np.nan)
        return np.asarray(np.interp(wanted, speeds[leaves], draws[leaves], left=np.nan, right=np.nan), dtype=float)

    @property
    def level(self) -> Level:
        return Level("efficiency", self.efficiency, 2)

    def level_spread(self, given: Uncertainty) -> float:
        """Exit speed goes with the root of a spring's energy, so half of the efficiency's spread is the speed's."""
        return given.efficiency / 2

    def by_motion(self, wheel: Callable[[Flywheel], T], drawn: Callable[[Drawn], T]) -> T:
        return drawn(self)

    @property
    def turning_inertia(self) -> float | None:
        return None

    def moves(self, wheel_rpm: float | None, wheel2_rpm: float | None, draw_mm: float | None) -> bool:
        return (draw_mm or 0.0) > 1.0

    def shot_energy(self, quantity: ArrayLike, element: Element, rotors: ArrayLike = 0.0) -> FloatArray | None:
        import numpy as np

        draws = np.asarray(quantity, dtype=float)
        return np.array([self.work(draw / 1000) for draw in draws.ravel()]).reshape(draws.shape)

    def stored_energy(self, quantity: float) -> float | None:
        return self.work(quantity / 1000)

    def lost_energy(self, quantity: float, element: Element) -> float | None:
        return self.stop_energy(quantity / 1000, element)

    @property
    def preload_energy(self) -> float | None:
        """Energy (J) that a spring holds at its stop, F^2 / (2 k); None where there is no preloaded spring."""
        return 0.5 * self.preload**2 / self.spring_rate if self.preload and self.spring_rate else None

    @property
    def force_max(self) -> float | None:
        """Spring force (N) at the longest draw; None where a torque drives it."""
        return None if self.spring_rate is None else self.preload + self.spring_rate * self.draw_max

    @property
    def stress(self) -> SpringStress | None:
        """Of the wire at the longest draw; None without the wire's data or for a driving torque."""
        force = self.force_max
        return None if self.wire is None or force is None else self.wire.stress(force)

    @property
    def spring_life(self) -> float | None:
        """About how often the spring can be drawn as far as it goes, at most ten million; None where not known."""
        force = self.force_max
        return None if self.wire is None or force is None else self.wire.rounded_life(self.preload, force)

    def dry_fire_energy(self, draw: float, element: Element) -> float:
        """Energy (J) that the stop takes after a draw (m) with no element in it."""
        return self.stop_energy(draw, replace(element, mass=0.0))

    def stroke(self, crank: float | None = None, draw: float | None = None) -> Stroke:
        """The stroke to a draw (m), the longest where None. ``crank``: radius (m) that the profile gives."""

        longest, radius = self.draw_max if draw is None else draw, self.crank_radius(crank)
        if radius is None:
            return pivot_stroke(self.tip_force, self.pivot_radius, longest)
        return crank_stroke(self.tip_force, radius, longest)

    def needed_torque(self, crank: float | None, draw: float) -> float | None:
        """Torque (N m) at the hardest point on the way to a draw (m); None for a draw that it can't make."""
        if draw > self.draw_max * (1 + 1e-9):
            return None
        way = self.stroke(crank, draw)
        return float(way.torque[way.worst])

    def ceiling(
        self, supply: Train, crank: float | None, open_circuit_v: ArrayLike, between_s: float, element: Element
    ) -> FloatArray | None:
        """The longest draw whose hardest point the drive can still turn through."""  # fmt: skip

        return 1000 * draws_by_torque(self.stroke(crank), supply.stall_torque(open_circuit_v))

    def lowest_voltage(
        self, supply: Train, crank: float | None, quantity: float, between_s: float, element: Element
    ) -> float | None:
        torque = self.needed_torque(crank, quantity / 1000)  # fmt: skip
        return None if torque is None else float(supply.motor_current(torque)) * supply.motor.resistance

    @property
    def parts(self) -> int:
        """Striker or arm, spring, latch."""
        return 3

    def variations(self) -> tuple[Variation, ...]:
        rate = self.spring_rate
        if rate is None:
            return ()

        def stiffer(by: int) -> Mechanism:
            return self.with_spring(rate * 1.05**by, self.preload)

        return (Variation("Spring rate", amount(rate / 1000, "N/mm", 3), stiffer),)

    @property
    def measured(self) -> tuple[str, str]:
        return "mm", "draw_mm"

    def noun(self, scale: SetpointScale) -> str:
        return self.kind

    @property
    def heading(self) -> str:
        return "Spring and drive"

    @property
    def load_steps(self) -> tuple[str, str]:
        return "leave the launcher at rest, switched on", "now cock once, at full power"


# Cocking a striker or an arm: torque over the stroke, how far the drive can draw it, how long that takes.
#
# A crank of radius r draws d = r (1 - cos theta), so a force F at the striker asks for F r sin(theta) (slider on a
# crank with a long rod: dead centres at both ends, hardest in between). An arm without a crank is turned at its pivot;
# its weight, which helps to draw it back, is left out.


_POINTS = 129


@frozen
class Stroke:
    """One cocking stroke, shapes (n,): turn of the crank or pivot (rad), draw (m), torque asked for there (N m).

    ``full_turn`` is the turn of a whole cycle, the empty way back included.
    """

    turn: FloatArray
    draw: FloatArray
    torque: FloatArray
    full_turn: float

    @property
    def worst(self) -> int:
        """Where the stroke is hardest."""
        return int(np.argmax(self.torque))


Force = Callable[["FloatArray"], "FloatArray"]
"""Force (N) against which the drive pulls at draws (m)."""


def pivot_stroke(force: Force, radius: float, draw: float) -> Stroke:
    """Turned at a pivot, with so much draw (m) per radian, to a draw."""
    turn = np.linspace(0.0, draw / radius, _POINTS)
    way = turn * radius
    return Stroke(turn, way, force(way) * radius, 2 * float(turn[-1]))


def crank_stroke(force: Force, radius: float, draw: float) -> Stroke:
    """Drawn by a crank of this radius (m) to a draw; one too short for it ends at its dead centre."""
    turn = np.linspace(0.0, math.acos(max(1 - draw / radius, -1.0)), _POINTS)
    way = radius * (1 - np.cos(turn))
    return Stroke(turn, way, force(way) * radius * np.sin(turn), 2 * math.pi)


def draws_by_torque(full: Stroke, torque: ArrayLike) -> FloatArray:
    """Longest draws (m) that torques (N m) can cock, along the full stroke; 0 where they can't even begin."""
    top = full.worst
    values = np.asarray(torque, dtype=float)
    hardest = np.maximum.accumulate(full.torque[: top + 1])
    partial = np.where(values < hardest[0], 0.0, np.interp(values, hardest, full.draw[: top + 1]))
    return np.where(values > hardest[-1], full.draw[-1], partial)


def cock_time(way: Stroke, supply: Train, open_circuit_v: ArrayLike) -> FloatArray:
    """Seconds to cock at full power, inertia left out (it is small against the spring); inf where the drive stalls.

    Shape: that of the supply's gear trains broadcast with the voltages.
    """
    rate = _speed_over(way, supply, open_circuit_v)
    slowness = 1 / rate
    seconds = np.sum((slowness[..., 1:] + slowness[..., :-1]) / 2 * np.diff(way.turn), axis=-1)
    return np.asarray(np.where(np.isnan(seconds), np.inf, seconds), dtype=float)


def return_time(way: Stroke, supply: Train, open_circuit_v: ArrayLike) -> FloatArray:
    """Seconds for the empty rest of the cycle at the drive's no-load speed."""
    free = supply.no_load_speed(open_circuit_v)
    rest = way.full_turn - float(way.turn[-1])
    return np.where(free > 0, rest / np.where(free > 0, free, 1.0), np.inf)


def _speed_over(way: Stroke, supply: Train, open_circuit_v: ArrayLike) -> FloatArray:
    spread = replace(supply, reduction=supply.reduction[..., None], efficiency=supply.efficiency[..., None])
    return spread.speed(np.asarray(open_circuit_v, dtype=float)[..., None], way.torque)
