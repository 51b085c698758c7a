"""A ball through a level ring: exactly how far off centre its path may be.

Seen along the path the ring is an ellipse, squeezed by the sine q of the entry angle, and the centre of the ball must
stay its radius r away from it: within the curve parallel to the ellipse. With the ring's radius a and the ellipse's
angle t, m = sqrt(q^2 cos^2 t + sin^2 t), that curve is cos t (a - r q / m) aside and sin t (a - r / (q m)) along the
floor (analytic geometry). Where r > a q^2 the ellipse's ends are too sharp for the ball, and the curve ends before
them. All broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_NEWTON = 5


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring of ``radius`` (m), and a ball of radius ``size`` (m) that comes in with this ``sine`` of its entry angle
    (n,)."""

    radius: float
    size: float
    sine: FloatArray

    @property
    def depth(self) -> FloatArray:
        """Half the free depth along the floor (n,), metres; negative where the ball does not pass."""
        return np.asarray(self.radius - self.size / self.sine)

    @property
    def side(self) -> FloatArray:
        """Half the free width (n,), metres."""
        return self._aside(self._sharpest(), self.sine)

    def chord(self, aside: FloatArray) -> FloatArray:
        """Share (n, m) of the half depth that is free so far aside (n, m), metres; 0 beyond the free width."""
        q, top = self.sine[:, None], self._sharpest()[:, None]
        widest = self._aside(top, q)
        wanted = np.minimum(np.abs(aside), widest)
        cosine = top * wanted / widest
        for _ in range(_NEWTON):
            m = self._squeeze(cosine, q)
            slope = np.maximum(self.radius - self.size * q / m**3, 1e-3 * self.radius)
            cosine = np.clip(cosine - (cosine * (self.radius - self.size * q / m) - wanted) / slope, 0.0, top)
        there = np.sqrt(1 - cosine**2) * (self.radius - self.size / (q * self._squeeze(cosine, q)))
        return np.clip(there / self.depth[:, None], 0.0, 1.0)

    def _sharpest(self) -> FloatArray:
        """cos t at which the parallel curve begins: 1 unless the ellipse's ends are too sharp."""
        flat = 1 - self.sine**2
        square = (1 - (self.size / (self.radius * self.sine)) ** 2) / np.where(flat > 0, flat, 1.0)
        return np.sqrt(np.where(self.size > self.radius * self.sine**2, np.clip(square, 0.0, 1.0), 1.0))

    def _squeeze(self, cosine: FloatArray, q: FloatArray) -> FloatArray:
        return np.asarray(np.sqrt(1 - (1 - q**2) * cosine**2))

    def _aside(self, cosine: FloatArray, q: FloatArray) -> FloatArray:
        return np.asarray(cosine * (self.radius - self.size * q / self._squeeze(cosine, q)))
