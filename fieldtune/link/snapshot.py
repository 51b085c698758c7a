"""What the line says now: records that the monitor hands to the session and the screen, and nobody changes.

``None`` means that the robot does not send it or that it is too old to show.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, Protocol

from fieldtune.line_fields import Readings

if TYPE_CHECKING:  # a line that nothing was heard of needs no arrays
    import numpy as np
    from numpy.typing import NDArray

    History = NDArray[np.float64] | tuple[()]

State = Literal["searching", "live", "stalled", "lost", "ended", "off"]


@dataclass(frozen=True, slots=True)
class ShotSeen:
    """A shot recognised on the line. Times in seconds of the line's clock; ``speed_rpm`` at release, at the wheel."""

    number: int
    time_s: float
    speed_rpm: float | None
    depth_rpm: float | None
    recovery_s: float | None
    energy_j: float | None
    setpoint: float | None
    distance_m: float | None
    battery_v: float | None
    draw_mm: float | None
    by: Literal["fired", "wheel"]
    arrival_s: float | None = None
    """Host time at which the line that told of it arrived."""


@dataclass(frozen=True, slots=True)
class Health:
    """The line's health: counts since it was opened."""

    lines: int = 0
    good: int = 0
    dropped: dict[str, int] = field(default_factory=dict)
    notices: dict[str, int] = field(default_factory=dict)
    """Things that are not faults, by name: ``restart``, ``clock roll-over``, ``counter roll-over``, ``reconnected``."""
    rate_hz: float | None = None
    clock: Literal["robot", "arrival", "unknown"] = "unknown"


@dataclass(frozen=True, slots=True)
class WheelFigures:
    """WheelFollower of the wheel view, over the last seconds; ``None`` until seen."""

    steady_error_rpm: float | None = None
    ripple_rpm: float | None = None
    spin_up_s: float | None = None
    recovery_s: float | None = None
    shots_per_minute: float | None = None
    second_wheel_mismatch_pct: float | None = None


@dataclass(slots=True)
class Live(Readings):
    """One snapshot of the line, cheap to take at any rate from any thread; readings that are too old are None."""

    state: State
    words: str
    port: str | None = None
    age_s: float | None = None
    health: Health = Health()
    wheel: WheelFigures = WheelFigures()
    shots: tuple[ShotSeen, ...] = ()
    history_s: History = ()
    history_rpm: History = ()
    history_volt: History = ()


class LineSnapshots(Protocol):
    """What a session asks of a line: ``Monitor`` answers it."""

    def snapshot(self) -> Live:
        """What the line says now."""
        ...
