"""Shots counted from sudden losses of wheel speed, or from the robot's own word; the time and charge each takes."""

from __future__ import annotations

from dataclasses import dataclass

_WINDOW_S = 0.25
_DEAD_S = 0.35
_STEADY_S = 0.5
_LONGEST_PAUSE_S = 30.0
_NEVER = float("-inf")


@dataclass
class ShotCount:
    """``drop_share`` is the smallest sudden loss of speed that counts as a shot.

    ``in_rpm``: the setpoint is a wheel speed, so that a wheel far below it is still spinning up.
    """

    drop_share: float
    in_rpm: bool = True
    count: int = 0
    by_robot: bool = False
    intervals: int = 0
    interval_s: float = 0.0
    coulombs: float = 0.0
    _since: float = _NEVER
    _before: float = 0.0
    _now: float = 0.0
    _last_shot: tuple[float, float] | None = None
    _setpoint: float | None = None
    _setpoint_since: float = 0.0
    _dead_until: float = _NEVER

    def add(
        self, t: float, rpm: float | None, setpoint: float | None, fired: bool | None, drawn_coulombs: float
    ) -> bool:
        """One sample; whether a shot was seen on it. ``drawn_coulombs``: charge drawn so far, C."""
        self.by_robot = self.by_robot or bool(fired)
        if setpoint != self._setpoint:
            self._setpoint, self._setpoint_since = setpoint, t
            self._start_window()
        seen = bool(fired) if self.by_robot else self._dropped(t, rpm)
        if seen:
            self._note(t, drawn_coulombs)
        return seen

    def forget(self) -> None:
        """Start the wheel's history anew, as after a gap in the line; counts stay."""
        self._start_window()
        self._last_shot = None

    def forget_charge(self) -> None:
        """Drop the charge that shots took, as after a current that was read wrongly; counts stay."""
        self.intervals, self.interval_s, self.coulombs = 0, 0.0, 0.0
        self._last_shot = None

    def charge_per_shot(self, expected: float | None) -> float:
        """Coulombs a shot takes with all that goes on around it; an expected value weighs as two shots."""
        if expected is None:
            return self.coulombs / max(self.intervals, 1)
        return (2 * expected + self.coulombs) / (2 + self.intervals)

    def between(self, usual_s: float) -> float:
        """Mean seconds between shots; ``usual_s`` weighs as one."""
        return (usual_s + self.interval_s) / (1 + self.intervals)

    def _start_window(self) -> None:
        """Forget the highest speeds of the present and the last quarter of a second."""
        self._since, self._before, self._now = _NEVER, 0.0, 0.0

    def _dropped(self, t: float, rpm: float | None) -> bool:
        if rpm is None or self._setpoint is None or t < self._dead_until:
            return False
        if t - self._since > _WINDOW_S:
            self._since, self._before, self._now = t, self._now, 0.0
        self._now = max(self._now, rpm)
        highest = max(self._before, self._now)
        up = self._setpoint > 0 and (not self.in_rpm or highest > 0.6 * self._setpoint)
        steady = up and t - self._setpoint_since >= _STEADY_S
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
        self._start_window()
