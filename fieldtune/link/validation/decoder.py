"""Lines to samples, a chunk at a time: together as far as they plainly follow, else weighed one by one."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from fieldtune.line_fields import FIELDS, PERIOD
from fieldtune.link.samples import SPACING_S, Sample, SampleChooser
from fieldtune.link.text.layouts import LineTable
from fieldtune.link.validation.even_lines import EvenLines
from fieldtune.link.validation.line_order import LineOrder
from fieldtune.link.validation.line_table import MANY, samples_of_table
from fieldtune.link.validation.line_weighing import LineWeigher

if TYPE_CHECKING:
    from fieldtune.link.text.wire_values import WireValues
    from fieldtune.link.validation.line_state import LineState
    from fieldtune.robot.model import Robot

_CAREFUL = 4  # lines of a table that are weighed one by one, before the next are tried together
_MOST_KINDS = 16


class LineDecoder(LineWeigher):
    """Weighs the lines of one chunk after another and chooses those that become samples."""

    def __init__(self, robot: Robot) -> None:
        super().__init__(robot)
        self._chooser = SampleChooser()
        self._order = LineOrder(self._continuity, self._two_robots, self.dropped)
        self._kind: tuple[str, ...] = ()
        self._kinds: dict[tuple[str, ...], float] = {}
        self._alone = self._limits.counter_bits > 52 or self._derived.needed  # lines are weighed one by one
        self._even: dict[tuple[str, ...], EvenLines] = {}
        self._ran: deque[tuple[EvenLines, LineTable, int, int, float]] = deque(maxlen=2)

    @property
    def too_narrow(self) -> bool:
        """Whether the counter may go round between two lines, so that it says no speed."""
        return self._continuity.width.too_narrow(self._continuity.clocks.line_s)

    def reconnected(self) -> None:
        """The line was closed and opened again: nothing held survives, and the next lines say where the robot is."""
        self._catch_up()
        super().reconnected()

    def take_all(
        self,
        lines: list[WireValues] | LineTable,
        arrival: float,
        numbers: Sequence[int],
        total: int,
        noisy: bool,
        whole: bool | None = None,
    ) -> list[Sample]:
        """Samples of one chunk: of its ``lines``, the ``numbers`` of them among all ``total`` that have come so far.

        ``noisy``: lines were damaged lately; ``whole``: no characters were for long; None: nor were
        any, but not for long.
        """
        self._continuity.noisy, self._continuity.whole = noisy, whole
        if not isinstance(lines, LineTable):
            lines, numbers, total = self._order.sort(lines, numbers, arrival, total)
        self._continuity.clocks.arrival.hear(arrival, total, noisy)
        samples: list[Sample] = []
        if not isinstance(lines, LineTable):
            self._take_each(lines, numbers, arrival, samples)
            return samples
        ahead, at = len(lines.ahead), 0
        if ahead:
            self._take_each(lines.ahead, numbers, arrival, samples)
        while (at := at + self._take_table(lines, at, arrival, samples)) < lines.lines:
            few = lines.values(at, at + _CAREFUL)
            self._take_each(few, numbers[ahead + at :], arrival, samples)
            at += len(few)
            if at == lines.lines:
                break
        return samples

    def _take_each(
        self, lines: Sequence[WireValues], numbers: Sequence[int], arrival: float, samples: list[Sample]
    ) -> None:
        """Weighs lines one by one."""
        if not lines:
            return
        self._catch_up()
        believed: list[Sample] = []
        for wire, number in zip(lines, numbers, strict=False):
            self.take(wire, number, arrival, believed)
        self.good += len(believed)
        told = [sample.fresh or sample.fired for sample in believed]
        if self._continuity.kinds > 1:
            told = [tells or self._is_due(sample) for tells, sample in zip(told, believed, strict=True)]
        wheel = [s.wheel_rpm if s.turns is None else s.turns for s in believed]
        own_rpm = all(sample.turns is None for sample in believed)
        for place, before_s, rpm in self._chooser.chosen([s.time_s for s in believed], wheel, told, own_rpm):
            sample = believed[place]
            sample.before_s = before_s
            if rpm is not None:
                sample.wheel_rpm, sample.averaged = rpm, True
            samples.append(sample)

    def _is_due(self, sample: Sample) -> bool:
        """Whether a line has other readings than the last, and such lines have not become samples for a moment.

        Of readings in lines of their own, each would always be passed over but the first.
        """
        kind = tuple(name for name in FIELDS if getattr(sample, name) is not None)
        if kind == self._kind:
            return False
        self._kind = kind
        if len(self._kinds) > _MOST_KINDS:
            self._kinds.clear()
        due = sample.time_s >= self._kinds.get(kind, -math.inf) + SPACING_S
        if due:
            self._kinds[kind] = sample.time_s
        return due

    def _take_table(self, table: LineTable, at: int, arrival: float, samples: list[Sample]) -> int:
        """Takes lines of a table from number ``at`` on, and says how many: the next one needs more care."""
        base = self._base
        if base is None or self._held is not None or self._out_of_range or self._alone or self._nominal.sure:
            return 0
        if PERIOD in table.names:
            return 0
        even = self._even.get(table.names) or self._even_lines(table.names)
        first, clocks = table.row(at), self._continuity.clocks
        quiet = self._ran or self._two_robots.quiet(base.rpm if even.has_rpm else None)
        if not quiet or self._counts_shots or not even.follows(base, first, arrival):
            return 0
        if clocks.judge_s(even.clock_s(first), arrival):
            self._catch_up()
            self._seen = table.value(at)  # its clock is judged
            self.begin_anew()
            return 0
        taken = self._all(base, table, arrival, samples) if at == 0 and table.lines >= MANY else 0
        if not taken:
            rows = table.rows[at:] if at else table.rows
            times, wheel, self._by_time = even.run(base, rows, arrival, self._nominal, table.bounded)
            taken = len(times)
            if not taken:
                self._catch_up()
                self._seen = table.value(at)
                return 0
            told = even.told(rows)
            if len(self._even) > 1 and times[0] >= even.due_s:  # as in _is_due
                told, even.due_s = [True, *(told or [False] * taken)[1:]], times[0] + SPACING_S
            for place, before_s, rpm in self._chooser.chosen_evenly(times, wheel, told, not even.counted):
                sample = even.sample(rows[place], times[place], arrival, wheel[place])
                sample.before_s = before_s
                if rpm is not None:
                    sample.wheel_rpm, sample.averaged = rpm, True
                samples.append(sample)
        last = table.row(at + taken - 1)
        if taken > 1:
            all_s = partial(even.clocks_s, table, at, at + taken)
            clocks.judge_more(taken, even.clock_s(last), all_s)
        self._ran.append((even, table, at, at + taken, arrival))
        self._refused_clocks = 0
        self._fired, self._odd_fired = even.last_fired(last, self._fired), None
        self.good += taken
        return taken

    def _all(self, base: LineState, table: LineTable, arrival: float, samples: list[Sample]) -> int:
        """Takes all lines at once, or none."""
        try:
            found = samples_of_table(self._continuity, self._limits, base, table, arrival, self._chooser)
        except OverflowError:  # a reading of some hundred digits
            return 0
        samples += found or ()
        return 0 if found is None else table.lines

    def _even_lines(self, names: tuple[str, ...]) -> EvenLines:
        """How lines of a kind that is new go on."""
        if len(self._even) >= _MOST_KINDS:
            self._even.clear()
        even = self._even[names] = EvenLines(names, self._continuity)
        return even

    def _catch_up(self) -> None:
        """Tells of the last lines that ran what those who look back at single lines have to know."""
        if self._ran:
            last_two = [
                even.said(row, arrival)
                for even, table, start, end, arrival in self._ran
                for row in map(table.row, range(max(start, end - 2), end))
            ]
            self._two_robots.saw(last_two)
            _, table, _, end, _ = self._ran[-1]
            self._seen = self._last = table.value(end - 1)
            self._ran.clear()
