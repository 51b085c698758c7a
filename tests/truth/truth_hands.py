"""What people do by hand today: a corrected look-up table, and a quadratic through corrected shots.

Both start from the paper calculation with the profile's numbers. A miss that was only seen as short or long is guessed
as one opening and half of it corrected; of a measured miss the table takes half, the fit all.
"""

from __future__ import annotations

import numpy as np
from truth_drawing import Nominal
from truth_physics import GRAVITY

Feedback = dict[str, float | str | None]


class PaperOnly:
    """Never learns: the paper calculation alone."""

    def __init__(self, nominal: Nominal) -> None:
        self.nominal = nominal

    def paper(self, distance: float) -> float:
        n = self.nominal
        speed = n.paper_speed(distance)
        return n.allowed(n.paper_setpoint(speed)) if np.isfinite(speed) else n.high

    def aim(self, distance: float, battery_v: float | None) -> float | None:
        return self.nominal.allowed(self.paper(distance))

    def confirm(self, distance: float, setpoint: float, seen: Feedback, battery_v: float | None) -> None:
        """Nothing is learned."""

    def swap(self) -> None:
        """Nothing is kept, so nothing changes."""

    def corrected(self, distance: float, setpoint: float, seen: Feedback, share: float = 0.5) -> float:
        """The setpoint after a share of the miss, through the paper's slope of miss over setpoint."""
        n = self.nominal
        miss = seen["miss_m"]
        if miss is None:
            size = 0.4 if n.target == "gate" else n.opening[1] if n.target == "window" else n.opening[0]
            miss = {"short": -size, "long": size}.get(str(seen["result"]), 0.0)
        speed = n.paper_speed(distance)
        if not np.isfinite(speed):
            return setpoint
        per_speed = (n.paper_setpoint(speed * 1.01) - n.paper_setpoint(speed * 0.99)) / 0.02
        if n.target in ("zone", "gate"):
            along = 2 * distance
        elif n.target == "window":
            along = GRAVITY * distance**2 / (np.cos(n.exit_angle) * speed) ** 2
        else:
            step = 0.01 * distance
            along = 2 * step * speed / (n.paper_speed(distance + step) - n.paper_speed(distance - step))
        return n.allowed(setpoint - share * float(miss) * per_speed / along) if along > 0.1 else setpoint


class LookupTable(PaperOnly):
    """Corrected setpoints by distance, interpolated; beyond them the paper scaled to the nearest."""

    def __init__(self, nominal: Nominal) -> None:
        super().__init__(nominal)
        self.entries: list[tuple[float, float]] = []

    def aim(self, distance: float, battery_v: float | None) -> float | None:
        if not self.entries:
            return super().aim(distance, battery_v)
        at, values = np.array(sorted(self.entries)).T
        if at[0] <= distance <= at[-1]:
            return self.nominal.allowed(float(np.interp(distance, at, values)))
        end = 0 if distance < at[0] else -1
        return self.nominal.allowed(values[end] * self.paper(distance) / self.paper(at[end]))

    def confirm(self, distance: float, setpoint: float, seen: Feedback, battery_v: float | None) -> None:
        better = self.corrected(distance, setpoint, seen)
        self.entries = [e for e in self.entries if abs(e[0] - distance) > 0.12] + [(distance, better)]


class QuadraticFit(PaperOnly):
    """A polynomial, quadratic at most, through all corrected shots; the paper scaled to them while there are few."""

    def __init__(self, nominal: Nominal) -> None:
        super().__init__(nominal)
        self.points: list[tuple[float, float]] = []

    def aim(self, distance: float, battery_v: float | None) -> float | None:
        if len(self.points) < 8:
            ratio = np.mean([s / self.paper(d) for d, s in self.points]) if self.points else 1.0
            return self.nominal.allowed(float(ratio) * self.paper(distance))
        at, values = np.array(self.points).T
        fit = np.polyfit(at, values, 2)
        return self.nominal.allowed(float(np.polyval(fit, distance)))

    def confirm(self, distance: float, setpoint: float, seen: Feedback, battery_v: float | None) -> None:
        share = 0.5 if seen["miss_m"] is None else 1.0
        self.points.append((distance, self.corrected(distance, setpoint, seen, share)))
