"""Which wheel speed is shown, and for how long: an old one isn't, unless the line comes in bursts."""

from __future__ import annotations

from collections import deque

_SPEED_S, _SPARSE_S = 0.08, 0.15  # an older speed isn't shown, or one of damaged lines while the wheel runs evenly
_BURST_S, _GAPS, _LATELY_S = 1.3, 300, 4.0
_RESTS_RPM, _UNANSWERED_S = 60.0, 0.15
_EVEN, _EVEN_RPM, _APART_S = 0.02, 3.0, 0.5  # what it may have changed from one to the next
_SAID_S = 0.4  # of an older speed it is said


class ShownSpeed:
    """The last known speed, and how lines arrive."""

    def __init__(self) -> None:
        self.rpm: float | None = None
        self._arrival_s = 0.0
        self._unanswered_s: float | None = None  # when a line came, after the last speed, that another may follow
        self._before: tuple[float, float] | None = None  # the speed before, which may be unknown again since
        self._changes = False
        self._gaps_s: deque[float] = deque(maxlen=_GAPS)
        self._fed_s: float | None = None

    def fed(self, arrival_s: float) -> None:
        """Bytes came."""
        if self._fed_s is not None:
            self._gaps_s.append(arrival_s - self._fed_s)
        self._fed_s = arrival_s

    def take(self, rpm: float, arrival_s: float) -> None:
        """A speed is known, by the line that arrived then."""
        before, self._before = self._before, (rpm, arrival_s)
        self.rpm, self._arrival_s, self._unanswered_s = rpm, arrival_s, None
        if before is not None and 0.0 < arrival_s - before[1] < _APART_S:
            self._changes = abs(rpm - before[0]) > max(_EVEN * rpm, _EVEN_RPM)

    def forget(self) -> None:
        """Nothing is known of it any more."""
        self.rpm = None

    def unanswered(self, arrival_s: float) -> None:
        """A line came that doesn't tell it, yet another speed may follow from it."""
        if self._unanswered_s is None:
            self._unanswered_s = arrival_s

    def shown(self, now_s: float, line_s: float, sparse: bool) -> float | None:
        """What is shown at host time ``now_s``, with a line each ``line_s``; ``sparse``: few tell the speed."""
        if self.rpm is None:
            return None
        least_s = max(_SPARSE_S if sparse and not self._changes else _SPEED_S, 4 * line_s)
        age_s = now_s - self._arrival_s
        if age_s > least_s and age_s > min(2 * self._silence_s(), _BURST_S):
            return None
        quickly = self.rpm < _RESTS_RPM or (sparse and self._changes)  # it may have begun to turn
        waited_s = 0.0 if self._unanswered_s is None else now_s - self._unanswered_s
        return None if waited_s > (_SPEED_S if quickly else _UNANSWERED_S) else self.rpm

    def words(self, line_s: float) -> str:
        """That what is shown may be old, as lines come in bursts, one each ``line_s``; empty where they don't."""
        old_s = self._silence_s()
        return f"lines come in bursts, what is shown is up to {old_s:.1f} s old" if old_s > _SAID_S + line_s else ""

    def _silence_s(self) -> float:
        """The silence that half of the moments lately lay in: chunks of one burst come close together."""
        gaps, lately = [], 0.0
        for gap_s in reversed(self._gaps_s):
            gaps.append(gap_s)
            lately += gap_s
            if lately > _LATELY_S:
                break
        passed = 0.0
        for gap_s in sorted(gaps):
            passed += gap_s
            if 2 * passed >= lately:
                return gap_s
        return 0.0
