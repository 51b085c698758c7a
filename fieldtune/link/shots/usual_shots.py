"""What a shot of this wheel takes, and how plainly one must show: by the profile at first, then by the shots before.

Elements and wheels are the same from shot to shot, but a profile is often off by a factor of two. So until five shots
were beyond doubt, a drop has to stand out more: by 42 of twice the log likelihood ratio, or by 25 if one like it came
within a minute. Then 18 will do, and it need only fit a shot as well as a slow change. Drops are then compared with
earlier ones by the turns missed: depth can't be told where the wheel is back within a cell. The mean of the courses
that fitted earlier ones is what a shot is usually like.

On a damaged line 1.4 times as much is needed, and what is deeper than 1.8 times as the profile lets expect is asked
about, as false counts are so deep. On bad wires that costs 3 of 2,304 shots and spares 3 made up.
"""

from __future__ import annotations

import statistics
from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.shots.drop_fit import Course, Verdict

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

LEAST, MOST = 0.012, 0.6  # of the wheel's speed: what falls less can't be told, and what falls deeper did not throw
_OF_PROFILE, _DEEP = (0.3, 2.5), 1.8  # of what the profile lets expect; less than this, or more, has to be asked about
_LEARNED, _OF_USUAL = 5, (0.7, 1.7)  # likewise, of what that many shots beyond doubt took
_NOISY = 1.4  # times as much, on a damaged line
_STANDS_OUT, _FIRST_OUT, _FIRST_SURE = 18.0, 25.0, 42.0  # twice the log likelihood ratio
_SUDDEN, _FIRST_SUDDEN = 0.0, 4.0  # likewise
_USUAL_DEPTH, _PARTLY_DEPTH = (0.75, 1.4), (0.65, 1.59)  # how deep, in usual ones
_SAG_V, _SAG = 0.3, 1.5  # volts, and times as many as at the middle one of the shots before
_AGAIN_S, _SIMILAR = 60.0, 1.7  # back, and times as deep at most, so that one in doubt bears another out


class UsualShots:
    """Learns from shots. ``expected``: share of its speed that a shot should take, 0 where the profile can't tell."""

    def __init__(self, expected: float) -> None:
        self._expected = expected
        self._missed: deque[float] = deque(maxlen=15)
        self._doubtful: deque[tuple[float, float]] = deque(maxlen=4)  # seconds, share
        self._falls_v: deque[float] = deque(maxlen=15)
        self._courses: deque[FloatArray] = deque(maxlen=15)
        self.course: Course | None = None
        """What they are like, once enough are known."""

    @property
    def learned(self) -> bool:
        """Whether enough shots were beyond doubt to tell what others are like."""
        return len(self._missed) >= _LEARNED

    @property
    def shares(self) -> tuple[float, float]:
        """Least and most of its speed that a shot takes: that is missed where most is, once learned, else its depth."""
        if self.learned:
            usual = statistics.median(self._missed)
            return _OF_USUAL[0] * usual, _OF_USUAL[1] * usual
        return self.expected_shares

    @property
    def expected_shares(self) -> tuple[float, float]:
        """The same by the profile alone, as a depth."""
        if self._expected:
            return _OF_PROFILE[0] * self._expected, _OF_PROFILE[1] * self._expected
        return LEAST, MOST

    @property
    def deep_share(self) -> float:
        """More of its speed than a shot of this profile should take."""
        return _DEEP * self._expected if self._expected else MOST

    def shows(self, over_nothing: float, over_slow: float, noisy: bool) -> bool:
        """Whether a drop shows as a shot's, or will if it is not the only one; as in ``drop_fit.Verdict``."""
        needed = (_STANDS_OUT if self.learned else _FIRST_OUT) * (_NOISY if noisy else 1.0)
        return over_nothing > needed and over_slow > (_SUDDEN if self.learned else _FIRST_SUDDEN)

    def beyond_doubt(self, over_nothing: float, noisy: bool) -> bool:
        """Whether one that shows does so beyond doubt."""
        return self.learned or over_nothing > _FIRST_SURE * (_NOISY if noisy else 1.0)

    def fits_usual(self, usual: Verdict, against: float, noisy: bool) -> bool:
        """Whether a drop is a shot by what the usual course makes of it alone (``drop_fit.as_usual``).

        ``against``: how much better it must fit than other courses.
        """
        needed = _STANDS_OUT * (_NOISY if noisy else 1.0)
        better = min(usual.over_slow, usual.over_lowered)
        return usual.over_nothing > needed and better > against and _USUAL_DEPTH[0] < usual.depth < _USUAL_DEPTH[1]

    def partly_usual(self, usual: Verdict, least: float) -> bool:
        """Whether the usual course accounts for ``least`` of what stands out, at a depth that may be."""
        return usual.over_nothing > least and _PARTLY_DEPTH[0] < usual.depth < _PARTLY_DEPTH[1]

    def came_before(self, at_s: float, share: float) -> bool:
        """Whether one like it, in doubt as well, came a little before; remembers this one."""
        before = [s for t, s in self._doubtful if at_s - t < _AGAIN_S and max(s, share) < _SIMILAR * min(s, share)]
        self._doubtful.append((at_s, share))
        return bool(before)

    def sags(self, battery_fall_v: float) -> bool:
        """Whether the battery falls far more than at shots: the robot drives off, and slows its wheel by that."""
        return len(self._falls_v) >= _LEARNED and battery_fall_v > _SAG_V + _SAG * max(
            statistics.median(self._falls_v), 0.0
        )

    def learn(self, over_nothing: float, missed: float, battery_fall_v: float | None = None) -> bool:
        """Takes a shot: how plainly it showed, the share of its speed missed where most was, and the battery's fall.

        Says whether it was beyond doubt.
        """
        certain = over_nothing > _FIRST_SURE
        if certain:
            self._missed.append(missed)
            if battery_fall_v is not None:
                self._falls_v.append(battery_fall_v)
        return certain

    def learn_course(self, parts: FloatArray) -> None:
        """Takes what a shot beyond doubt was like, as in ``Course``."""
        self._courses.append(parts)
        if len(self._courses) >= _LEARNED:
            number = 1 + (self.course.number if self.course else 0)
            self.course = Course(number, np.mean(self._courses, axis=0))
