"""What the line says: one decoded line in SI, placed in time, and the records of the moment for the screen."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import repeat
from typing import TYPE_CHECKING, Literal, NamedTuple, Protocol

from fieldtune.frozen import frozen
from fieldtune.line_fields import Readings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    History = NDArray[np.float64] | tuple[()]


@dataclass(slots=True, kw_only=True)
class Sample(Readings):
    """One plausible line: ``None`` where the line did not say it. Read-only once handed out.

    ``time_s`` runs on over roll-over, restarts and gaps; ``fresh`` marks the first sample behind such a break.
    ``turns`` counts wheel turns since the last break. ``wheel_rpm`` is the speed at the wheel without
    a sign: as sent, else the local slope of the counts. ``arrival_s`` is the host's clock. ``before_s`` is the time of
    the line before, which need not have become a sample. ``averaged``: own rpm is a mean of some lines, taken here.
    """

    time_s: float
    arrival_s: float
    turns: float | None = None
    fired: bool | None = None
    fresh: bool = False
    before_s: float | None = None
    averaged: bool = False


SPACING_S = 0.0065  # some 150 samples/s at most
_FEW = 3  # lines that are as quickly looked at one by one


class Chosen(NamedTuple):
    """Number of a line that becomes a sample, and the time of the line before.

    ``rpm``: where lines passed over said another own rpm than the last sample, the mean since then, and ``before_s`` is
    that sample's time; None elsewhere.
    """

    place: int
    before_s: float | None
    rpm: float | None


class SampleChooser:
    """Chooses among lines in order of time: fast lines are thinned, but nothing that matters is passed over."""

    def __init__(self) -> None:
        self._last_s: float | None = None
        self._due_s = -math.inf
        self._wheel: float | None = None
        self._moved_s = -math.inf
        self._said: float | None = None
        self._sampled_s: float | None = None
        self._sum = self._span_s = 0.0
        self._uneven = False

    def chosen(
        self,
        times_s: Sequence[float],
        wheel: Sequence[float | None] | None,
        told: Sequence[object] | None,
        own_rpm: bool,
    ) -> list[Chosen]:
        """Which of the next lines become samples.

        Those that are due, tell of a shot or a break (``told``), or bring a count of an encoder that has few, or own
        rpm that is calculated seldom. ``wheel``: turns, or with ``own_rpm`` the robot's own rpm.
        """
        found = []
        last_s, due_s, before, moved_s = self._last_s, self._due_s, self._wheel, self._moved_s
        ways = repeat(before) if wheel is None else wheel
        own_rpm = own_rpm and wheel is not None
        for i, (now_s, now, tells) in enumerate(zip(times_s, ways, told or repeat(None), strict=False)):
            # Not later: other fields, sent in a line of their own.
            wanted = now_s >= due_s or tells or (last_s is not None and now_s <= last_s)
            if now != before:
                wanted = wanted or now_s - moved_s > SPACING_S
                before, moved_s = now, now_s
            mean = self._mean(now, now_s, last_s, bool(wanted)) if own_rpm else None
            if wanted:
                found.append(Chosen(i, last_s if mean is None else self._sampled_s, mean))
                self._sampled_s = now_s
                due_s = now_s + SPACING_S
            last_s = now_s
        self._last_s, self._due_s, self._wheel, self._moved_s = last_s, due_s, before, moved_s
        return found

    def chosen_evenly(
        self,
        times_s: list[float],
        wheel: Sequence[float | None] | None,
        told: list[bool] | None,
        own_rpm: bool,
    ) -> list[Chosen]:
        """As ``chosen``, for times that rise from line to line: without looking at each where only time decides."""
        plain = not own_rpm and not (told and True in told)
        if not plain or self._last_s is None or times_s[0] <= self._last_s:
            return self.chosen(times_s, wheel, told, own_rpm)
        if len(times_s) <= _FEW:
            passed_over = len(times_s) == 1 and self._passes_over(times_s[0], wheel[0] if wheel else self._wheel)
            return [] if passed_over else self.chosen(times_s, wheel, told, own_rpm)
        if wheel is not None:
            before, moved_s = self._wheel, self._moved_s
            for now, now_s in zip(wheel, times_s, strict=True):
                if now != before:
                    if now_s - moved_s > SPACING_S:
                        return self.chosen(times_s, wheel, told, own_rpm)
                    before, moved_s = now, now_s
            self._wheel, self._moved_s = before, moved_s
        found, place = [], bisect_left(times_s, self._due_s)
        while place < len(times_s):
            found.append(Chosen(place, times_s[place - 1] if place else self._last_s, None))
            self._sampled_s = times_s[place]
            self._due_s = self._sampled_s + SPACING_S
            place = bisect_left(times_s, self._due_s, place + 1)
        self._last_s = times_s[-1]
        return found

    def _passes_over(self, now_s: float, now: float | None) -> bool:
        """Whether the next line becomes no sample; takes it then."""
        moved = now != self._wheel
        if now_s >= self._due_s or (moved and now_s - self._moved_s > SPACING_S):
            return False
        if moved:
            self._wheel, self._moved_s = now, now_s
        self._last_s = now_s
        return True

    def _mean(self, rpm: float | None, now_s: float, last_s: float | None, wanted: bool) -> float | None:
        """Takes own rpm of the next line; what stands for all lines since the last sample, where this one is wanted.

        Own rpm in steps of one count goes up and down from line to line: one in so many would say anything.
        """
        if rpm is None:
            self._said, self._sum, self._span_s, self._uneven = None, 0.0, 0.0, False
            return None
        since_s = 0.0 if last_s is None else max(now_s - last_s, 0.0)
        self._sum, self._span_s = self._sum + rpm * since_s, self._span_s + since_s
        if not wanted:
            self._uneven = self._uneven or (self._said is not None and rpm != self._said)
            return None
        mean = self._sum / self._span_s if self._uneven and self._span_s > 0.0 else None
        self._said, self._sum, self._span_s, self._uneven = rpm if mean is None else mean, 0.0, 0.0, False
        return mean


# What the line says now: records that the monitor hands to the session and the screen, and nobody changes.
#
# ``None`` means that the robot does not send it or that it is too old to show.


State = Literal["searching", "live", "stalled", "lost", "ended", "off"]
TWO_NOW = "two robots now"
"""A notice that is only there while they talk."""


@frozen
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
    hood_deg: float | None = None
    arrival_s: float | None = None
    """Host time at which the line that told of it arrived."""


@frozen
class Health:
    """The line's health: counts since it was opened."""

    lines: int = 0
    good: int = 0
    dropped: dict[str, int] = field(default_factory=dict)
    notices: dict[str, int] = field(default_factory=dict)
    """Things that are not faults, by name: ``restart``, ``clock roll-over``, ``counter roll-over``, ``reconnected``."""
    rate_hz: float | None = None
    clock: Literal["robot", "arrival", "unknown"] = "unknown"


@frozen
class WheelFigures:
    """Figures of the wheel view, over the last seconds; ``None`` until seen."""

    steady_error_rpm: float | None = None
    ripple_rpm: float | None = None
    spin_up_s: float | None = None
    recovery_s: float | None = None
    shots_per_minute: float | None = None
    second_wheel_mismatch_pct: float | None = None
    jam_a: float | None = None
    """Current (A) that the launcher draws now without a shot, where that is far more than it takes to hold this speed;
    None otherwise."""


@dataclass(slots=True)
class Live(Readings):
    """One snapshot of the line, cheap to take at any rate from any thread; readings that are too old are None."""

    state: State
    words: str
    port: str | None = None
    others: tuple[str, ...] = ()
    """Other ports at which a robot may be, where this one was found and not named."""
    age_s: float | None = None
    health: Health = Health()  # noqa: RUF009 - frozen
    wheel: WheelFigures = WheelFigures()  # noqa: RUF009 - frozen
    shots: tuple[ShotSeen, ...] = ()
    unsure: ShotSeen | None = None
    """The last dip of the wheel that may have been a shot, numbered by itself; a person may know."""
    own_rpm: bool = False
    """Whether the robot's program says the speed itself, and no counter."""
    history_s: History = ()
    history_rpm: History = ()


class LineSnapshots(Protocol):
    """What a session asks of a line: ``Monitor`` answers it."""

    def snapshot(self) -> Live:
        """What the line says now."""
        ...
