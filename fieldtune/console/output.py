"""The console's output: when the next picture goes to the terminal, measured by what the link lets through.

A terminal answers when it is asked where its cursor is (ECMA-48, device status report 6), once it has taken in all
that was sent before. Until then nothing more is sent but what a key has changed: what would be stale when it arrives is
never sent. A terminal that doesn't answer gets what a slow link carries.
"""

from __future__ import annotations

import asyncio
import os
import select
import time
from collections import deque
from collections.abc import Callable

from textual.drivers._writer_thread import WriterThread

from fieldtune.console.painting import Painter
from fieldtune.frozen import frozen

_CHUNK = 512
_QUERY = "\x1b[2;2H\x1b[6n"
"""From the second row: the answer from the first is also a function key's code."""
_FRAME_S = 0.1
"""Between two pictures that no key asked for: digits that change oftener can't be read."""
_URGENT_S = 0.15
"""For so long after a key or an answer all that changes is sent at once."""
_USUAL, _SILENT, _LEAST = 8_000.0, 4_000.0, 400.0
"""Bytes a second for what no key asked for: to a terminal that answers, to one that doesn't, and at least."""
_SHARE = 0.4
"""How much of a link's measured rate is used, so that a key finds it free."""
_GIVEN_UP_S = 5.0
_DEBT_S = 1.5
_PICTURE_S, _SLOW = 0.12, 10_000.0
"""A picture that no key asked for takes the link no longer than that; bytes a second of one that nobody knows."""
_QUICK_S, _AGAIN_S = 0.02, 0.02
_TELLING = 300
"""Bytes: the time that fewer take says little of a link."""
_SHOWN_S = 5.0
_LAST_ANSWER = 25
"""Fiftieths of a second that the end waits for a last answer."""


class MeasuredWriter(WriterThread):
    """Writes to the terminal in pieces, and notes how fast a link that is full takes them (bytes a second)."""

    rate: float | None = None
    lost = False

    def run(self) -> None:
        """Until ``stop``."""
        number, encoding = self._file.fileno(), getattr(self._file, "encoding", None) or "utf-8"
        while (text := self._queue.get()) is not None:
            if not self.lost:
                try:
                    self._send(number, text.encode(encoding, "replace"))
                except (OSError, ValueError):
                    self.lost = True  # nobody is there any more; a signal says so too

    def _send(self, number: int, data: bytes) -> None:
        began, sent = 0.0, 0
        while data:
            if not select.select([], [number], [], 0)[1]:
                if not began:
                    began, sent = time.perf_counter(), 0
                select.select([], [number], [])
            written = os.write(number, data[:_CHUNK])
            data, sent = data[written:], sent + written
            if began and (taken := time.perf_counter() - began) > 0.15:
                self.rate = sent / taken
                began, sent = 0.0, 0


def install() -> None:
    """Makes the running program write through it; on Windows the console's own thread stays."""
    try:
        from textual.drivers import linux_driver
    except ImportError:
        return
    linux_driver.WriterThread = MeasuredWriter  # type: ignore[attr-defined]


@frozen
class OutputFigures:
    """What goes to the terminal: bytes and pictures a second, the link's rate and the terminal's answer where known."""

    bytes_per_s: float
    frames_per_s: float
    answer_s: float | None
    link_bytes_per_s: float | None


class Output:
    """Sends the painter's differences when it is time; ``write`` takes text for the terminal, ``clock`` gives seconds.

    ``asks``: whether the terminal may be asked where its cursor is.
    """

    def __init__(self, painter: Painter, write: Callable[[str], None], clock: Callable[[], float], asks: bool) -> None:
        self.painter = painter
        self._write, self._clock, self._asks = write, clock, asks
        self._asked_at: float | None = None
        self._asked_bytes = 0
        self._behind = 0
        self._quickest: float | None = None
        self._answers: bool | None = None if asks else False
        self._rate: float | None = None
        self._answer_s: float | None = None
        self._tokens = 0.0
        self._tokens_at = self._sent_at = clock()
        self._urgent_until = 0.0
        self._timer: asyncio.TimerHandle | None = None
        self._sent: deque[tuple[float, int]] = deque()
        self.full_rate: Callable[[], float | None] = lambda: None
        self.cursor = ""
        """Where the cursor belongs, as the terminal is told."""

    # -- when ----------------------------------------------------------------------------------------------------------

    def hurry(self) -> None:
        """A key was pressed, or an answer came that someone waits for: what changes now is sent at once."""
        self._urgent_until = self._clock() + _URGENT_S

    @property
    def due(self) -> bool:
        """Whether a picture may go out now; making one that can't would be in vain."""
        now = self._clock()
        return now < self._urgent_until or self._wait(now) <= 0

    def _wait(self, now: float) -> float:
        """Seconds until what no key asked for may go out."""
        wait = self._sent_at + _FRAME_S - now
        if self._asked_at is not None:
            waited = now - self._asked_at
            if waited > _GIVEN_UP_S:
                self._asked_at = None
                self._answers = bool(self._answers)
            elif self._answers or waited < 1.0:
                return max(wait, 0.02)
        self._refill(now)
        return max(wait, -self._tokens / self.allowance)

    @property
    def link_rate(self) -> float | None:
        """Bytes a second that the link lets through, where that is known."""
        full = self.full_rate()
        known = [rate for rate in (self._rate, full) if rate is not None]
        return min(known) if known else None

    @property
    def allowance(self) -> float:
        """Bytes a second for what no key asked for."""
        link = self.link_rate
        most = _USUAL if self._answers else _SILENT
        return most if link is None else max(_LEAST, min(most, _SHARE * link))

    def _refill(self, now: float) -> None:
        self._tokens = min(0.0, self._tokens + (now - self._tokens_at) * self.allowance)
        self._tokens_at = now

    # -- what ----------------------------------------------------------------------------------------------------------

    def flush(self) -> None:
        """Sends what changed, now or when it is time."""
        now = self._clock()
        wait = self._wait(now)
        text = self.painter.difference(words=True) if now < self._urgent_until else ""
        if wait <= 0:
            text += self.painter.difference(self._picture_bytes)
        if self._timer is None and self.painter.behind:
            self._timer = asyncio.get_running_loop().call_later(max(wait, _AGAIN_S), self._again)
        asking = self._asks and self._asked_at is None and self._answers is not False
        if not text:
            return
        if asking:
            text += _QUERY
        text += self.cursor
        self._write(text)
        size = len(text.encode())
        self._note(now, size)
        self._refill(now)
        self._tokens = max(self._tokens - size, -_DEBT_S * self.allowance)
        self._behind += size
        if asking:
            self._asked_at, self._asked_bytes, self._behind = now, self._behind, 0

    @property
    def _picture_bytes(self) -> float:
        """The largest picture sent at once."""
        link = self.link_rate
        if link is None:
            link = float("inf") if self._answers else _SLOW
        return max(_TELLING, _PICTURE_S * link)

    def _again(self) -> None:
        self._timer = None
        self.flush()

    def answered(self) -> None:
        """The terminal has taken in all that was sent before it was asked."""
        if self._asked_at is None:
            self._answers = self._asks
            return
        now = self._clock()
        taken = now - self._asked_at
        self._answers, self._asked_at, self._answer_s = True, None, taken
        first = self._quickest is None
        self._quickest = taken if self._quickest is None else min(self._quickest, taken)
        self._learn_rate(taken, taken - self._quickest, first)
        if self._timer is not None:
            self._timer.cancel()
            self._again()

    def _learn_rate(self, taken: float, longer: float, first: bool) -> None:
        """What an answer after ``taken`` seconds, ``longer`` than the quickest one, says of the link's rate."""
        if self._asked_bytes < _TELLING:
            return
        if taken < _QUICK_S:
            self._rate = None  # faster than matters
        elif longer > _QUICK_S:
            seen = self._asked_bytes / longer
            self._rate = seen if self._rate is None else 0.5 * (self._rate + seen)
        elif first or (self._rate is not None and self._asked_bytes / taken > self._rate):
            self._rate = self._asked_bytes / taken  # the way there and back is in it: at least that

    @property
    def waiting(self) -> bool:
        """Whether an answer of the terminal is still to come."""
        return self._asked_at is not None and self._answers is True

    async def ended(self) -> None:
        """Asks nothing more, and returns when no answer is on its way that the shell would get (or not soon)."""
        self._asks = False
        for _ in range(_LAST_ANSWER):
            if not self.waiting:
                break
            await asyncio.sleep(0.02)

    # -- told ----------------------------------------------------------------------------------------------------------

    def _note(self, now: float, size: int) -> None:
        self._sent_at = now
        self._sent.append((now, size))
        while self._sent and self._sent[0][0] < now - _SHOWN_S:
            self._sent.popleft()

    def figures(self) -> OutputFigures:
        """What went to the terminal in the last seconds."""
        now = self._clock()
        recent = [size for at, size in self._sent if at >= now - _SHOWN_S]
        return OutputFigures(sum(recent) / _SHOWN_S, len(recent) / _SHOWN_S, self._answer_s, self.link_rate)
