"""The session's history of a line: speed, setpoint, draw, voltage and current in steps of a twentieth of a second.

Each step keeps the lowest and the highest speed, so that a drop of a tenth of a second is still there after hours: some
15 MB for three hours. Nothing here needs arrays until somebody looks.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left
from collections.abc import Iterable
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.link.samples import Sample, ShotSeen

STEP_S = 0.05
_MOST = 8 * 3600 * 20
"""Steps that are kept: eight hours."""
_NAN = math.nan
_KEPT = ("setpoint", "power", "volts", "amps")


@frozen
class Stretch:
    """A part of the history: shapes (n,), nan where the line didn't say it; ``shots`` recognised in it.

    ``time_s`` is of the line's clock. ``low`` and ``high``: least and largest speed (rpm) or draw (mm) in each step.
    """

    time_s: FloatArray
    low: FloatArray
    high: FloatArray
    setpoint: FloatArray
    power: FloatArray
    volts: FloatArray
    amps: FloatArray
    shots: tuple[ShotSeen, ...]

    def thinned(self, most: int) -> Stretch:
        """At most ``most`` steps: neighbours are put together, with the least and the largest of them."""
        import numpy as np

        count = len(self.time_s)
        if count <= most:
            return self
        starts = np.linspace(0, count, most, endpoint=False).astype(np.intp)  # all different: there are more steps
        low, high = (
            np.where(np.isfinite(part), part, fill) for part, fill in ((self.low, np.inf), (self.high, -np.inf))
        )
        least, most_of = np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)
        return Stretch(
            self.time_s[starts],
            np.where(np.isfinite(least), least, np.nan),
            np.where(np.isfinite(most_of), most_of, np.nan),
            self.setpoint[starts],
            self.power[starts],
            self.volts[starts],
            self.amps[starts],
            self.shots,
        )


class LineHistory:
    """Takes in samples and recognised shots; hands out stretches. ``is_wheel``: a speed is followed, else a draw."""

    def __init__(self, is_wheel: bool) -> None:
        self._times = array("d")
        self._low, self._high = array("f"), array("f")
        self._last = {name: array("f") for name in _KEPT}
        self._is_wheel = is_wheel
        self._shots: dict[int, ShotSeen] = {}

    def __len__(self) -> int:
        return len(self._times)

    @property
    def begin_s(self) -> float | None:
        """When the history begins, on the line's clock."""
        return self._times[0] if self._times else None

    @property
    def end_s(self) -> float | None:
        """The latest step."""
        return self._times[-1] if self._times else None

    def take(self, samples: Iterable[Sample], shots: Iterable[ShotSeen] = ()) -> None:
        """What is new on the line."""
        for sample in samples:
            self._add(sample)
        for shot in shots:
            if self._shots.get(shot.number) is not shot:
                self._shots[shot.number] = shot

    def _add(self, sample: Sample) -> None:
        value = sample.wheel_rpm if self._is_wheel else sample.draw_mm
        said = (sample.setpoint, sample.power_pct, sample.battery_v, sample.current_a)
        if not self._times or sample.time_s >= self._times[-1] + STEP_S:
            if len(self._times) >= _MOST:
                self._forget(_MOST // 8)
            self._times.append(sample.time_s)
            self._low.append(_NAN if value is None else value)
            self._high.append(_NAN if value is None else value)
            for name, reading in zip(_KEPT, said, strict=True):
                self._last[name].append(_NAN if reading is None else reading)
            return
        if value is not None:
            low, high = self._low[-1], self._high[-1]
            self._low[-1] = value if not low <= value else low
            self._high[-1] = value if not high >= value else high
        for name, reading in zip(_KEPT, said, strict=True):
            if reading is not None:
                self._last[name][-1] = reading

    def _forget(self, count: int) -> None:
        for kept in (self._times, self._low, self._high, *self._last.values()):
            del kept[:count]

    def stretch(self, begin_s: float, end_s: float) -> Stretch:
        """The history between two times of the line's clock."""
        import numpy as np

        a, b = bisect_left(self._times, begin_s), bisect_left(self._times, end_s + 1e-9)
        part = {name: np.array(kept[a:b], dtype=float) for name, kept in self._last.items()}
        return Stretch(
            np.array(self._times[a:b]),
            np.array(self._low[a:b], dtype=float),
            np.array(self._high[a:b], dtype=float),
            part["setpoint"],
            part["power"],
            part["volts"],
            part["amps"],
            tuple(shot for shot in self._shots.values() if begin_s <= shot.time_s <= end_s),
        )
