"""``replay://FILE?speed=4``: a recording as a port, at its own pace or faster; ``speed=0`` as fast as it is read."""

from __future__ import annotations

import time
from collections.abc import Iterator

from serial import SerialException

from fieldtune.errors import FieldtuneError
from fieldtune.link.recordings.recording_reader import CUT_OFF, DAMAGED, Chunk, RecordedLine
from fieldtune.link.urls.virtual_port import VirtualPort, number_option


class Serial(VirtualPort):
    """Plays a recording; each ``read`` returns one recorded chunk, with ``arrival_s`` as it was recorded."""

    def _start(self, place: str, options: dict[str, str]) -> None:
        self._speed = number_option(options, "speed", 1.0, str(self._port))
        self._began = time.monotonic()
        try:
            recorded = RecordedLine(place)
            self.made_up_times = recorded.is_plain
            self._chunks: Iterator[Chunk] = recorded.chunks()
            self._next = next(self._chunks, None)
        except FieldtuneError as error:
            raise SerialException(str(error).removeprefix(f"{place}: ")) from None
        self._first_us = self._next.arrival_us if self._next else 0

    def _take(self) -> bytes:
        upcoming = self._next
        if upcoming is None:
            self.ended = True
            return b""
        due = self._speed <= 0 or (
            time.monotonic() - self._began >= (upcoming.arrival_us - self._first_us) / 1e6 / self._speed
        )
        if not due:
            return b""
        self.arrival_s = upcoming.arrival_us / 1e6
        try:
            self._next = next(self._chunks, None)
        except FieldtuneError as error:  # to begin anew would play the same again and again
            self._next, self.ended_by = None, f": {error}"
        if not upcoming.data:
            self.interrupted = upcoming.why
            self.ended_by = f": {upcoming.why}" if upcoming.why in (CUT_OFF, DAMAGED) else self.ended_by
        return upcoming.data
