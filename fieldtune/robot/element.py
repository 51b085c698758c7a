"""What is launched: shape, size, mass, surface, and what follows from them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray

Shape = Literal["sphere", "disc", "block"]
Surface = Literal["smooth", "felt", "seamed", "dimpled", "perforated", "foam"]
Seams = Literal["flat", "raised", "pebbled"]


_INFLATED, _PLASTIC = 200.0, 150.0
"""Mean density (kg/m^3) below which a panelled ball holds air, and a smooth one is a shell (table tennis: 80); what is
light and solid is foam."""


@frozen
class Element:
    """What is launched. ``diameter`` for sphere and disc; ``length``, ``width``, ``height`` for a block.

    A disc's ``height`` is its thickness (optional key; a tenth of the diameter otherwise).
    """

    shape: Shape
    mass: float
    diameter: float | None = None
    length: float | None = None
    width: float | None = None
    height: float | None = None
    surface: Surface = "smooth"
    drag: float | None = None
    lift: float | None = None
    seams: Seams | None = None
    """Of a seamed ball: whether its panels join flat, its stitches are raised, or it is grained all over."""

    @property
    def extent(self) -> float:
        """Largest horizontal size, metres: the diameter, or the diagonal of a block's footprint."""
        if self.diameter is not None:
            return self.diameter
        return math.hypot(self.length or 0.0, self.width or 0.0)

    @property
    def lying_height(self) -> float:
        """Height of the centre above the floor it lies on, metres."""
        return ((self.diameter if self.shape == "sphere" else self.height) or 0.0) / 2

    @property
    def volume(self) -> float:
        """Cubic metres."""
        if self.shape == "block":
            return (self.length or math.nan) * (self.width or math.nan) * (self.height or math.nan)
        if self.shape == "disc":
            return math.pi / 4 * (self.diameter or math.nan) ** 2 * (self.height or math.nan)
        return math.pi / 6 * (self.diameter or math.nan) ** 3

    @property
    def density(self) -> float:
        """Mean density, kg/m^3."""
        return self.mass / self.volume

    @property
    def least_spacing(self) -> float:
        """How close two of them can follow each other, centre to centre, m: its smallest size."""
        return min(size for size in (self.diameter, self.length, self.width, self.height) if size)

    @property
    def passing_size(self) -> float:
        """Size that has to fit through an opening, metres."""
        if self.shape == "block":
            return max(self.length or 0.0, self.width or 0.0, self.height or 0.0)
        return self.diameter or 0.0

    @property
    def mean_projected_area(self) -> float:
        """Mean area seen from all directions, m^2: a quarter of the surface for any convex body (Cauchy 1832)."""
        if self.shape == "sphere":
            return math.pi * (self.diameter or 0.0) ** 2 / 4
        if self.shape == "disc":
            d, t = self.diameter or 0.0, self.height or 0.0
            return (math.pi * d**2 / 2 + math.pi * d * t) / 4
        a, b, c = self.length or 0.0, self.width or 0.0, self.height or 0.0
        return (a * b + b * c + a * c) / 2

    @property
    def smallest_face(self) -> float:
        """Smallest area (m^2) with which it can meet something squarely: a disc on its rim, a block on its end."""
        if self.shape == "sphere":
            return math.pi * (self.diameter or 0.0) ** 2 / 4
        if self.shape == "disc":
            return (self.diameter or 0.0) * (self.height or 0.0)
        shortest, middle, _ = sorted((self.length or 0.0, self.width or 0.0, self.height or 0.0))
        return shortest * middle

    @property
    def hollow(self) -> bool:
        """Whether a ball is a thin shell: one with holes, an inflated one, hollow plastic such as table tennis'."""
        least = {"seamed": _INFLATED, "smooth": _PLASTIC}.get(self.surface, 0.0)
        return self.shape == "sphere" and (self.surface == "perforated" or self.density < least)

    @property
    def ball_inertia(self) -> float:
        """I / (m R^2) of a ball: thin shells 2/3; a tennis ball 0.55 (Brody, Cross & Lindsey, The Physics and
        Technology of Tennis, 2002; from memory); solid ones, of foam too, 2/5."""
        return 0.55 if self.surface == "felt" else 2 / 3 if self.hollow else 0.4

    @property
    def spin_inertia(self) -> float:
        """Inertia about the spin axis, kg m^2: of a ball as ``ball_inertia``, disc m r^2/2, block about its vertical
        axis."""
        if self.shape == "block":
            return self.mass * ((self.length or 0.0) ** 2 + (self.width or 0.0) ** 2) / 12
        radius = (self.diameter or 0.0) / 2
        return (self.ball_inertia if self.shape == "sphere" else 0.5) * self.mass * radius**2

    def energy(self, spin_ratio: float, speed: ArrayLike) -> FloatArray:
        """Kinetic energy (J), moving and spinning by this ratio of surface speed to speed, at speeds in m/s."""
        import numpy as np

        v, radius = np.asarray(speed, dtype=float), self.extent / 2
        turning = spin_ratio * v / radius if radius else np.zeros_like(v)
        return np.asarray(0.5 * self.mass * v**2 + 0.5 * self.spin_inertia * turning**2)

    @property
    def inertia_ratio(self) -> float:
        """Inertia about the spin axis over m R^2."""
        return self.spin_inertia / (self.mass * (self.extent / 2) ** 2)
