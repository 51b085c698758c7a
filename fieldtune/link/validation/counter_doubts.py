"""Counters that don't say how far the wheel has turned: set back with each line, or rounded when they are printed.

A launcher's wheel turns one way. A counter that is set back with each line says the counts since then: while the wheel
runs evenly it stands almost still, as that of a wheel at rest does, but for a count more or less from line to line. A
wheel at rest has the same count in all lines, or rests on an edge after it has turned on. One that a program keeps as a
number with a point and prints with six digits (8.81234e+06, as C and C++ do) goes in steps of ten, later of a hundred.
"""

from __future__ import annotations

from collections import deque

from fieldtune.link.validation.counter_width import TOO_NARROW

_LINES, _TURNS_BACK = 60, 8
_ONCE_ON = 12.0  # turns one way: more than between two lines, so that it is no count since the last
_STEPS, _COARSE = 30, 10

NOT_ON = "wheel_counts goes up and down instead of on"
ROUNDED = "wheel_counts goes in steps of ten or more"


class CounterDoubts:
    """Sees a counter line by line; ``per_turn``: its counts a turn of the wheel.

    ``why``: why it says no speed now, in words; empty where it does.
    """

    def __init__(self, per_turn: float) -> None:
        self._per_turn = per_turn
        self._turns: float | None = None
        self._step = self._on = 0.0
        self._turned_back: deque[bool] = deque(maxlen=_LINES)
        self._coarse: deque[int] = deque(maxlen=_STEPS)
        self.why = ""

    def clear(self) -> None:
        """What comes next has no connection with what was before."""
        self._turns, self._step, self._on = None, 0.0, 0.0
        self._turned_back.clear()

    def see(self, turns: float, whole: bool, too_narrow: bool = False) -> bool:
        """Takes the turns so far; whether they say nothing.

        ``whole``: no line was damaged for some seconds; ``too_narrow``: it may go round between two lines.
        """
        if too_narrow:
            self.why = TOO_NARROW
            return True
        step, self._turns = turns - (turns if self._turns is None else self._turns), turns
        if not whole:
            return bool(self.why)
        back = step * self._step < 0
        if step != 0:
            if self._on < _ONCE_ON:
                self._on = 0.0 if back else self._on + abs(step)
            self._step = step
            self._see_coarse(round(step * self._per_turn))
        self._turned_back.append(back)
        if self._on < _ONCE_ON and sum(self._turned_back) >= (1 if self.why == NOT_ON else _TURNS_BACK):
            self.why = NOT_ON
        elif len(self._coarse) == _STEPS:  # steps of an even wheel may all be whole tens
            self.why = ROUNDED if self.why == ROUNDED or len(set(self._coarse)) > 1 else ""
        else:
            self.why = ""
        return bool(self.why)

    def _see_coarse(self, counts: int) -> None:
        if counts % _COARSE:
            self._coarse.clear()
        else:
            self._coarse.append(counts)
