"""Recordings of the line: raw bytes with their arrival times, compact, in files of limited size.

``recording_reader`` says what a file looks like. The console keeps one a session (``session_recording``); ``decode``
gives the samples and shots that the live line gave.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import struct
import time
import zlib
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from fieldtune.errors import OutputError
from fieldtune.frozen import frozen
from fieldtune.link.line import Line
from fieldtune.link.recordings.recording_reader import MAGIC, VERSION, RecordedLine, varint
from fieldtune.link.text.framing import RAW_KEPT

if TYPE_CHECKING:
    from fieldtune.link.samples import Live, Sample
    from fieldtune.robot.model import Robot

ROOM_FOR_SHOTS = 20_000_000
"""Bytes left on the disk at which a recording ends: a season's log takes less."""
SUFFIX = ".rec"
_BLOCK_BYTES = 32_768
_BLOCK_US = 1_000_000


class Recorder:
    """Writes chunks to ``path``; beyond ``largest`` bytes it goes on in ``name-2.rec`` and so on, keeping ``keep``.

    Only a place that can't be written at first is an error (``OutputError``). A disk that fills up later ends the
    recording, not the reading of the line: ``failed`` then says why. Where nothing was heard, no file is left.
    """

    def __init__(self, path: Path | str, about: dict[str, str], largest: int = 8_000_000, keep: int = 12) -> None:
        self._first = Path(path)
        self._about = about
        self._largest = largest
        self._keep = keep
        self._part = 0
        self._files: list[Path] = []
        self._file: BinaryIO | None = None
        self._block = bytearray()
        self._last_us = 0
        self._flushed_us = 0
        self._heard = False
        self.failed: str | None = None
        self._open()

    def _open(self) -> None:
        self._part += 1
        name = self._first.stem + (f"-{self._part}" if self._part > 1 else "") + (self._first.suffix or SUFFIX)
        path = self._first.with_name(name)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = path.open("wb")
            lines = [f"{key}: {_one_line(value)}\n" for key, value in self._about.items()]
            self._file.write(MAGIC % VERSION + "".join(lines).encode() + b"\n")
        except OSError as error:
            raise OutputError(f"can't record to {path}: {error.strerror}; name another place") from None
        self._files.append(path)
        if len(self._files) > self._keep:
            self._files.pop(0).unlink(missing_ok=True)

    def write(self, arrival_us: int, data: bytes) -> None:
        """Keeps one chunk; goes to disk about once a second."""
        if self._file is None:
            return
        self._heard = self._heard or bool(data)
        if not self._block:
            self._block += varint(self._last_us)
        self._block += varint(max(arrival_us - self._last_us, 0)) + varint(len(data)) + data
        self._last_us = max(arrival_us, self._last_us)
        if len(self._block) >= _BLOCK_BYTES or self._last_us - self._flushed_us >= _BLOCK_US:
            self.flush()

    def flush(self) -> None:
        """Puts what is collected on disk, and starts the next file when this one is full."""
        try:
            self._flush()
        except OSError as error:
            self._give_up(error.strerror or str(error))
        except OutputError as error:
            self._give_up(str(error))

    def _give_up(self, reason: str) -> None:
        self.failed, file, self._file = reason, self._file, None
        if file is not None:
            with contextlib.suppress(OSError):
                file.close()

    def _flush(self) -> None:
        if self._file is None or not self._block:
            return
        if shutil.disk_usage(self._files[-1].parent).free < ROOM_FOR_SHOTS:
            raise OutputError("the disk is nearly full, and what is left is for the shots")
        packed = zlib.compress(bytes(self._block), 6)
        self._file.write(struct.pack(">I", len(packed)) + packed)
        self._file.flush()
        self._block.clear()
        self._flushed_us = self._last_us
        if self._file.tell() >= self._largest:
            self._end()
            self._open()

    def _end(self) -> None:
        """Marks the end, so that a file that was cut off can be told from a whole one."""
        if self._file is not None:
            self._file.write(struct.pack(">I", 0))
            self._file.close()

    def close(self) -> None:
        """Writes the rest and closes the file."""
        self.flush()
        if self._file is not None:
            with contextlib.suppress(OSError):
                self._end()
            self._file = None
        if not self._heard:
            self._files[0].unlink(missing_ok=True)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def started() -> str:
    """Now, as a recording's header writes it."""
    return time.strftime("%Y-%m-%d %H:%M:%S")


_KEPT_FILES = 40


def session_recording(folder: Path, robot: str, begun: datetime) -> Path | None:
    """A new recording's path in ``folder``, the oldest of this robot's making room; None where nothing can be written.

    A session never fails for want of a recording.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not os.access(folder, os.W_OK):
            return None
        kept = sorted(folder.glob(f"{robot}-????????-??????*{SUFFIX}"), key=lambda path: path.stat().st_mtime)
        for old in kept[: max(len(kept) - _KEPT_FILES + 1, 0)]:
            old.unlink()
    except OSError:
        return None
    while (path := folder / f"{robot}-{begun:%Y%m%d-%H%M%S}{SUFFIX}").exists():
        begun += timedelta(seconds=1)  # a clock set back, or another console
    return path


@frozen
class Decoded:
    """All samples of a recording, the line as it stood at the end, and the last raw lines, harmless to show."""

    samples: tuple[Sample, ...]
    live: Live
    raw: tuple[str, ...] = ()


def decode(recording: Path | str | RecordedLine, robot: Robot) -> Decoded:
    """Decodes a recording or a plain text capture. Raises ``InputError`` if it can't be read."""
    line, recorded = Line(robot), recording if isinstance(recording, RecordedLine) else RecordedLine(recording)
    if recorded.is_plain:
        line.trust_clock()
    samples: list[Sample] = []
    arrival_s = 0.0
    for chunk in recorded.chunks():
        arrival_s = chunk.arrival_us / 1e6
        if chunk.data:
            samples += line.feed(chunk.data, arrival_s)
        else:
            line.reconnected(chunk.why)
    live = line.live("ended", f"{recorded.path} decoded", str(recorded.path), arrival_s)
    return Decoded(tuple(samples), live, line.raw(RAW_KEPT))
