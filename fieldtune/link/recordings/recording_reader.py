"""Recordings of the line read back: a damaged place costs what stood in it, and never the file.

A file starts with text, so that a person can see what it is: a first line that names the format and its version,
``name: value`` lines and an empty line. Blocks follow: four bytes of length (big endian), then that much zlib data; a
length of zero ends the file. Unpacked, a block begins with the microsecond at which it starts (not in version 1) and is
a row of chunks: microseconds since the chunk before and length, each a LEB128 varint (DWARF 5, 7.6), then the bytes.
Each block has zlib's checksum (RFC 1950), by which the next whole one is found behind a damaged place. Any other file
is taken as plain captured text, which may be packed with gzip.
"""

from __future__ import annotations

import codecs
import re
import zlib
from collections.abc import Callable, Iterable, Iterator
from itertools import takewhile
from pathlib import Path

from fieldtune.errors import InputError
from fieldtune.files import read_whole
from fieldtune.frozen import frozen
from fieldtune.link.text.line_patterns import UTF_16_MARKS

VERSION = 2
MAGIC = b"fieldtune line recording %d\n"
DAMAGED, CUT_OFF = "recording damaged", "recording cut off"
_NAME = MAGIC[:-3]
_ALIKE = 0.8  # of the first line's letters: then it is a recording whose first line was hurt
_HEADER = 4096
_LARGEST = 500_000_000
_LARGEST_TEXT = 100_000_000  # unpacked
_PIECE = 1_000_000
_GZIP, _ZIP = b"\x1f\x8b", b"PK\x03\x04"
_LARGEST_BLOCK = 200_000  # unpacked; a block ends with the chunk that makes it 32 kB, and a chunk has 64 kB at most
_MOST_CHUNKS = 20_000  # of a second
_TIMES_SMALLER, _IN_ANY_CASE = 100, 16_000_000  # what a line packs to at best, and bytes that do no harm
_PLAIN_PACE_US = 20_000  # a capture without times and without a clock is read at 50 lines/s
_CLOCK = re.compile(rb"\bt_(ms|us)\"?\s*[=:]\s*(\d+)(\.\d+)?")
_FINE_US = 300  # less from line to line, with decimals: seconds under the name of milliseconds
_ZLIB = re.compile(rb"\x78[\x01\x5e\x9c\xda]")


@frozen
class Chunk:
    """Bytes that arrived together, ``arrival_us`` microseconds after the start.

    No bytes: the line was interrupted there, and ``why`` says by what.
    """

    arrival_us: int
    data: bytes
    why: str = "reconnected"


class RecordedLine:
    """A recording, or plain captured text, read into memory once. Raises ``InputError`` if it can't be read.

    ``tell`` is told while the chunks are taken: at which second of the line they are, and which share of the file that
    is (None where it isn't known).
    """

    def __init__(self, path: Path | str, tell: Callable[[float, float | None], None] | None = None) -> None:
        self.path, self._tell = Path(path), tell
        self._content = read_whole(self.path, "a recording of the line, or captured text", _LARGEST)
        self._lost: str | None = None
        if not self._content:
            raise InputError(f"{self.path}: is empty; nothing was recorded or captured in it")
        if self._content.startswith(_ZIP):
            raise InputError(f"{self.path}: is a zip archive; unpack it, and name the file in it")
        if self._content.startswith(_GZIP):
            self._content, self._lost = self._unzipped()
        if self._content.startswith(UTF_16_MARKS):  # as a shell of Windows writes what a program prints
            self._content = self._content[2:].replace(b"\0", b"")
        self._content = self._content.removeprefix(codecs.BOM_UTF8)
        same = sum(a == b for a, b in zip(self._content, _NAME, strict=False))
        self.is_plain = same < _ALIKE * len(_NAME)
        """Whether it is plain captured text, whose arrival times are made up."""

    def _unzipped(self) -> tuple[bytes, str | None]:
        """What was packed with gzip, one part behind another (RFC 1952, 2.2), and what is lost of it.

        Up to where it is damaged or too large; what stands behind the last part is no part of it.
        """
        unpacking, text, at = zlib.decompressobj(zlib.MAX_WBITS + 16), bytearray(), 0
        try:
            while at < len(self._content) and len(text) <= _LARGEST_TEXT:
                text += unpacking.decompress(self._content[at : at + 4096], _LARGEST_TEXT)
                at = min(at + 4096, len(self._content)) - len(unpacking.unused_data)
                if unpacking.eof:
                    if not self._content.startswith(_GZIP, at):
                        return bytes(text), None
                    unpacking = zlib.decompressobj(zlib.MAX_WBITS + 16)
        except zlib.error as error:
            if not text:
                raise InputError(f"{self.path}: can't be unpacked ({error}); take another copy of it") from None
            return bytes(text), DAMAGED
        return bytes(text), CUT_OFF

    def header(self) -> dict[str, str]:
        """The ``name: value`` lines it starts with; of plain text those in its leading ``#`` lines."""
        head = self._content[:_HEADER]
        if self.is_plain:
            noted = (line[1:].strip() for line in takewhile(lambda line: line.startswith(b"#"), head.split(b"\n")))
            return _pairs(line.decode("utf-8", "replace") for line in noted)
        text = head.split(b"\n\n", 1)[0].decode("utf-8", "replace")
        return _pairs(text.splitlines()[1:])

    def chunks(self) -> Iterator[Chunk]:
        """The chunks in order; a plain text capture is cut into lines and paced by its own clock.

        Damaged places and a missing end are chunks without bytes. Raises ``InputError`` if it can't be read at all.
        """
        found = _plain(self._content, self._lost) if self.is_plain else _packed(self._content, self.path)
        return found if self._tell is None else self._told(found, self._tell)

    def _told(self, found: Iterator[Chunk], tell: Callable[[float, float | None], None]) -> Iterator[Chunk]:
        taken = 0
        for chunk in found:
            yield chunk
            taken += len(chunk.data)
            tell(chunk.arrival_us / 1e6, taken / len(self._content) if self.is_plain else None)


def _pairs(lines: Iterable[str]) -> dict[str, str]:
    return {key: value for key, colon, value in (line.partition(": ") for line in lines) if colon}


def _packed(content: bytes, path: Path) -> Iterator[Chunk]:
    line = content.split(b"\n", 1)[0].rsplit(b" ", 1)[-1]
    version = int(line) if line.isdigit() and len(line) < 6 else VERSION
    if version > VERSION:
        raise InputError(
            f"{path}: is a recording of version {version}, and this fieldtune reads up to {VERSION}; update it here"
        )
    at = content.find(b"\n\n") + 2
    if at < 2 and b"\r\n\r\n" in content[:_HEADER]:
        raise InputError(f"{path}: its line ends were changed on its way here; copy it as binary")
    if at < 2:
        raise InputError(f"{path}: the recording ends within its header; nothing was recorded")
    now, room = 0, max(_TIMES_SMALLER * len(content), _IN_ANY_CASE)
    for block, why in _blocks(content, at):
        room -= len(block)
        if room < 0:
            raise InputError(f"{path}: unpacks to more than a line says in that many bytes; it is no recording of ours")
        if why is not DAMAGED:
            for chunk in _chunks_of(block, now, version):
                now = chunk.arrival_us
                yield chunk
        if why is not None:
            yield Chunk(now, b"", why)


def _blocks(content: bytes, at: int) -> Iterator[tuple[bytes, str | None]]:
    """Unpacked blocks; behind what is lost, what happened there."""
    ended = False
    while at < len(content) and not ended:
        size = int.from_bytes(content[at : at + 4], "big")
        if size == 0 and at + 4 == len(content):
            ended = True
            break
        block, whole = _unpacked(content[at + 4 : at + 4 + size])
        if whole:
            yield block, None
            at += 4 + size
        elif (found := _next_whole(content, at + 1)) is not None:
            yield b"", DAMAGED
            at = found
        else:
            cut = len(content) < at + 4 + size
            yield (block, CUT_OFF) if cut else (b"", DAMAGED)
            return
    if not ended and _needs_end(content):
        yield b"", CUT_OFF


def _needs_end(content: bytes) -> bool:
    return not content.startswith(MAGIC % 1)


def _next_whole(content: bytes, at: int) -> int | None:
    """Where the next block that can be unpacked begins, or the end mark."""
    for match in _ZLIB.finditer(content, at + 4):
        start = match.start() - 4
        size = int.from_bytes(content[start : start + 4], "big")
        if 8 <= size <= len(content) - start - 4 and _unpacked(content[start + 4 : start + 4 + size])[1]:
            return start
    return len(content) - 4 if at <= len(content) - 4 and content.endswith(b"\0\0\0\0") else None


def _unpacked(packed: bytes) -> tuple[bytes, bool]:
    """A block as far as it can be unpacked, and whether that is all of it."""
    unpacking = zlib.decompressobj()
    try:
        block = unpacking.decompress(packed, _LARGEST_BLOCK)
    except zlib.error:
        return b"", False
    return block, unpacking.eof and not unpacking.unused_data


def _chunks_of(block: bytes, now: int, version: int) -> Iterator[Chunk]:
    """The chunks of a block, as many as are whole."""
    place = 0
    try:
        if version > 1:
            now, place = _read_varint(block, place)
        for _ in range(_MOST_CHUNKS):
            if place >= len(block):
                break
            since, place = _read_varint(block, place)
            length, place = _read_varint(block, place)
            now += since
            if place + length <= len(block):
                yield Chunk(now, block[place : place + length])
            place += length
    except IndexError:  # a block cut off within a number
        return


def _plain(content: bytes, lost: str | None) -> Iterator[Chunk]:
    """Lines with arrival times made up from ``t_ms``/``t_us`` where they say so, else evenly; what is lost behind."""
    now, before = 0, None
    for line in _lines(content):
        if line.startswith(b"#"):
            continue
        clock = _CLOCK.search(line)
        step = _PLAIN_PACE_US
        if clock is not None and len(clock.group(2)) < 20:
            us = round(float(clock.group(2) + (clock.group(3) or b"")) * (1000 if clock.group(1) == b"ms" else 1))
            if before is not None and 0 < us - before < 10_000_000:
                step = (us - before) * (1000 if clock.group(3) and us - before < _FINE_US else 1)
            before = us
        now += step
        yield Chunk(now, line if line.endswith(b"\n") else line + b"\n")
    if lost is not None:
        yield Chunk(now, b"", lost)


def _lines(content: bytes) -> Iterator[bytes]:
    """Lines with their ends, a piece of the text at a time: all lines at once take many times its room."""
    at = 0
    while at < len(content):
        end = content.find(b"\n", at + _PIECE) + 1 or len(content)
        yield from content[at:end].splitlines(keepends=True)
        at = end


def varint(value: int) -> bytes:
    """A number as LEB128."""
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def _read_varint(block: bytes, place: int) -> tuple[int, int]:
    value, shift = 0, 0
    while True:
        byte = block[place]
        place += 1
        value |= (byte & 0x7F) << shift
        if byte < 0x80 or shift > 63:
            return value, place
        shift += 7
