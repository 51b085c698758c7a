"""``file://run.log``: follows a log file that another program writes, from its end on, as new lines come. Read-only."""

from __future__ import annotations

import os
import stat
from typing import BinaryIO

from serial import SerialException

from fieldtune.link.text.framing import LONGEST
from fieldtune.link.text.line_patterns import UTF_16_MARKS
from fieldtune.link.urls.virtual_port import VirtualPort

_LARGEST = 65_536
_LOOKED = 1_024
_FRESH = 16_384  # a file made anew has no more in it when it is first seen; a larger one was written before


class Serial(VirtualPort):
    """Reads what is added to a file; one that was made anew is read from its start."""

    def _start(self, place: str, options: dict[str, str]) -> None:
        self._path = place
        if not place:
            raise SerialException(f"{self._port}: expected file://FILE, such as file://run.log")
        if not stat.S_ISREG(os.stat(place).st_mode) and not os.path.isdir(place):  # to open a FIFO may take for ever
            raise SerialException(f"{self._port}: is no file on the disk; let the program write one, and name that")
        self._open()
        self._file.seek(0, os.SEEK_END)

    def _open(self) -> None:
        """The file as it is now, at its start."""
        self._file: BinaryIO = open(self._path, "rb")  # noqa: SIM115 - closed by close()
        self._wide = self._file.read(2) in UTF_16_MARKS
        self._file.seek(0)

    def _take(self) -> bytes:
        data = self._file.read(_LARGEST)
        if not data:
            return self._look_again()
        if self._file.tell() == len(data):
            self._wide = data[:2] in UTF_16_MARKS
            data = data[2:] if self._wide else data
        return data.replace(b"\0", b"") if self._wide else data

    def _look_again(self) -> bytes:
        """Goes on with the file that stands there now: where we were, if it begins as this one does."""
        try:
            there = os.stat(self._path)
        except FileNotFoundError:
            raise SerialException("the file is gone") from None
        ours, place = os.fstat(self._file.fileno()), self._file.tell()
        if (there.st_dev, there.st_ino) == (ours.st_dev, ours.st_ino) and there.st_size >= place:
            return b""
        known = self._around(place)
        self._file.close()
        self._open()
        if there.st_size >= place > 0 and self._around(place) == known:
            self._file.seek(place)  # a copy of the same, and longer
            return b""
        self._file.seek(0, os.SEEK_END if there.st_size > _FRESH else os.SEEK_SET)
        if place > LONGEST:
            self.interrupted = "reconnected"
        return b"\n"  # of a file that only ever holds the newest line, which may have no end

    def _around(self, place: int) -> tuple[bytes, bytes]:
        """How the file begins, and what stands before a place in it."""
        self._file.seek(0)
        start = self._file.read(min(_LOOKED, place))
        self._file.seek(max(place - _LOOKED, 0))
        return start, self._file.read(min(_LOOKED, place))

    def close(self) -> None:
        """Closes the file."""
        if self.is_open:
            self._file.close()
        super().close()
