"""Recordings of the line: raw bytes with their arrival times, compact, in files of limited size.

A file starts with text, so that a person can see what it is: a first line that names the format, ``name: value`` lines
and an empty line. Blocks follow: four bytes of length (big endian), then that much zlib data. Unpacked, a block is a
row of chunks: microseconds since the chunk before and length, each a LEB128 varint (DWARF 5, 7.6), then the bytes.
A file cut off by a power loss reads up to its last whole block. Any other file is taken as plain captured text.

The console keeps one a session (``session_recording``); ``decode`` gives the samples and shots that the live line gave.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import struct
import time
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import takewhile
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from fieldtune.errors import InputError, OutputError
from fieldtune.files import read_whole
from fieldtune.link.line import Line

if TYPE_CHECKING:
    from fieldtune.link.samples import Live, Sample
    from fieldtune.robot.model import Robot

MAGIC = b"fieldtune line recording 1\n"
_LARGEST = 500_000_000
ROOM_FOR_SHOTS = 20_000_000
"""Bytes left on the disk at which a recording ends: a season's log takes less."""
SUFFIX = ".rec"
_BLOCK_BYTES = 32_768
_BLOCK_US = 1_000_000
_PLAIN_PACE_US = 20_000  # a capture without times and without a clock is read at 50 lines/s
_CLOCK = re.compile(rb"\bt_(ms|us)\"?\s*[=:]\s*(\d+)")


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes that arrived together, ``arrival_us`` microseconds after the start; no bytes: the port was reopened."""

    arrival_us: int
    data: bytes


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
            self._file.write(MAGIC + "".join(lines).encode() + b"\n")
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
        self._block += _varint(max(arrival_us - self._last_us, 0)) + _varint(len(data)) + data
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
            self._file.close()
            self._open()

    def close(self) -> None:
        """Writes the rest and closes the file."""
        self.flush()
        if self._file is not None:
            self._file.close()
            self._file = None
        if not self._heard:
            self._files[0].unlink(missing_ok=True)


def read_header(path: Path | str) -> dict[str, str]:
    """The ``name: value`` lines a recording starts with; for plain text those in its leading ``#`` lines."""
    head = _bytes(path)[:4096]
    if not head.startswith(MAGIC):
        noted = (line[1:].strip() for line in takewhile(lambda line: line.startswith(b"#"), head.split(b"\n")))
        return _pairs(line.decode("utf-8", "replace") for line in noted)
    text = head.split(b"\n\n", 1)[0].decode("utf-8", "replace")
    return _pairs(text.splitlines()[1:])


def _pairs(lines: Iterable[str]) -> dict[str, str]:
    return {key: value for key, colon, value in (line.partition(": ") for line in lines) if colon}


def is_plain(path: Path | str) -> bool:
    """Whether a file is plain captured text, whose arrival times are made up."""
    return not _bytes(path).startswith(MAGIC)


def chunks(path: Path | str) -> Iterator[Chunk]:
    """The chunks of a recording in order; a plain text capture is cut into lines and paced by its own clock."""
    content = _bytes(path)
    if content.startswith(MAGIC):
        yield from _packed(content, Path(path))
    else:
        yield from _plain(content)


def _packed(content: bytes, path: Path) -> Iterator[Chunk]:
    at = content.find(b"\n\n") + 2
    if at < 2:
        raise InputError(f"{path}: the recording ends within its header; nothing was recorded")
    now = 0
    while at + 4 <= len(content):
        size = int.from_bytes(content[at : at + 4], "big")
        packed = content[at + 4 : at + 4 + size]
        at += 4 + size
        if len(packed) < size:
            return
        try:
            block = zlib.decompress(packed)
        except zlib.error:
            raise InputError(f"{path}: damaged {at - size} bytes from its start; what is before can be read") from None
        place = 0
        while place < len(block):
            since, place = _read_varint(block, place)
            length, place = _read_varint(block, place)
            now += since
            yield Chunk(now, block[place : place + length])
            place += length


def _plain(content: bytes) -> Iterator[Chunk]:
    """Lines with arrival times made up from ``t_ms``/``t_us`` where they say so, else evenly."""
    now, before = 0, None
    for line in content.splitlines(keepends=True):
        if line.startswith(b"#"):
            continue
        clock = _CLOCK.search(line)
        step = _PLAIN_PACE_US
        if clock is not None:
            us = int(clock.group(2)) * (1000 if clock.group(1) == b"ms" else 1)
            if before is not None and 0 < us - before < 10_000_000:
                step = us - before
            before = us
        now += step
        yield Chunk(now, line if line.endswith(b"\n") else line + b"\n")


def _bytes(path: Path | str) -> bytes:
    return read_whole(Path(path), "a recording of the line, or captured text", _LARGEST)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _varint(value: int) -> bytes:
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def _read_varint(block: bytes, place: int) -> tuple[int, int]:
    value, shift = 0, 0
    while True:
        if place >= len(block):
            raise InputError("the recording is damaged: a block ends within a number")
        byte = block[place]
        place += 1
        value |= (byte & 0x7F) << shift
        if byte < 0x80:
            return value, place
        shift += 7


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
    return folder / f"{robot}-{begun:%Y%m%d-%H%M%S}{SUFFIX}"


@dataclass(frozen=True, slots=True)
class Decoded:
    """All samples of a recording, and the line as it stood at the end."""

    samples: tuple[Sample, ...]
    live: Live


def decode(path: Path | str, robot: Robot) -> Decoded:
    """Decodes a recording or a plain text capture. Raises ``InputError`` if it can't be read."""
    line = Line(robot)
    if is_plain(path):
        line.trust_clock()
    samples: list[Sample] = []
    arrival_s = 0.0
    for chunk in chunks(path):
        arrival_s = chunk.arrival_us / 1e6
        if chunk.data:
            samples += line.feed(chunk.data, arrival_s)
        else:
            line.reconnected()
    live = line.live("ended", f"{path} decoded", str(path), arrival_s)
    return Decoded(tuple(samples), live)
