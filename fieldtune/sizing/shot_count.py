"""Shots counted from sudden losses of wheel speed, or from the robot's own word; the time and charge each takes."""

from __future__ import annotations

from dataclasses import dataclass, field

_WINDOW_S = 0.25
_DEAD_S = 0.35
_STEADY_S = 0.5
_LONGEST_PAUSE_S = 30.0


@dataclass
class ShotCount:
    """``drop_share`` is the smallest sudden loss of speed that counts as a shot."""

    drop_share: float
    count: int = 0
    by_robot: bool = False
    intervals: int = 0
    interval_s: float = 0.0
    coulombs: float = 0.0
    _recent: list[tuple[float, float]] = field(default_factory=list)
    _last_shot: tuple[float, float] | None = None
    _setpoint: float | None = None
    _setpoint_since: float = 0.0
    _dead_until: float = float("-inf")

    def add(
        self, t: float, rpm: float | None, setpoint: float | None, fired: bool | None, drawn_coulombs: float
    ) -> bool:
        """One sample; whether a shot was seen on it. ``drawn_coulombs``: charge drawn so far, C."""
        self.by_robot = self.by_robot or bool(fired)
        if setpoint != self._setpoint:
            self._setpoint, self._setpoint_since = setpoint, t
            self._recent.clear()
        seen = bool(fired) if self.by_robot else self._dropped(t, rpm)
        if seen:
            self._note(t, drawn_coulombs)
        return seen

    def forget(self) -> None:
        """Start the wheel's history anew, as after a gap in the line; counts stay."""
        self._recent.clear()
        self._last_shot = None

    def charge_per_shot(self, expected: float | None) -> float:
        """Coulombs a shot takes with all that goes on around it; an expected value weighs as two shots."""
        if expected is None:
            return self.coulombs / max(self.intervals, 1)
        return (2 * expected + self.coulombs) / (2 + self.intervals)

    def between(self, usual_s: float) -> float:
        """Mean seconds between shots; ``usual_s`` weighs as one."""
        return (usual_s + self.interval_s) / (1 + self.intervals)

    def _dropped(self, t: float, rpm: float | None) -> bool:
        if rpm is None or self._setpoint is None or t < self._dead_until:
            return False
        self._recent = [r for r in self._recent if t - r[0] <= _WINDOW_S]
        highest = max((r[1] for r in self._recent), default=rpm)
        self._recent.append((t, rpm))
        steady = t - self._setpoint_since >= _STEADY_S and highest > 0.6 * self._setpoint > 0
        return steady and rpm < highest * (1 - self.drop_share)

    def _note(self, t: float, drawn_coulombs: float) -> None:
        last = self._last_shot
        if last is not None and t - last[0] <= _LONGEST_PAUSE_S:
            self.intervals += 1
            self.interval_s += t - last[0]
            self.coulombs += drawn_coulombs - last[1]
        self.count += 1
        self._last_shot = (t, drawn_coulombs)
        self._dead_until = t + _DEAD_S
        self._recent.clear()
