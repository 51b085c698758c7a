"""``file://run.log``: follows a log file that another program writes, from its end on, as new lines come. Read-only."""

from __future__ import annotations

import os
from typing import BinaryIO

from fieldtune.link.urls.virtual_port import VirtualPort

_LARGEST = 65_536


class Serial(VirtualPort):
    """Reads what is added to a file; one that was made anew is read from its start."""

    def _start(self, place: str, options: dict[str, str]) -> None:
        self._path = place
        self._file: BinaryIO = open(place, "rb")  # noqa: SIM115 - closed by close()
        self._file.seek(0, os.SEEK_END)

    def _take(self) -> bytes:
        data = self._file.read(_LARGEST)
        if data:
            return data
        there = os.stat(self._path)  # a file that is gone raises, as a pulled cable does
        ours = os.fstat(self._file.fileno())
        if (there.st_dev, there.st_ino) != (ours.st_dev, ours.st_ino) or there.st_size < self._file.tell():
            self._file.close()
            self._file = open(self._path, "rb")  # noqa: SIM115
            self.interrupted = "reconnected"
        return b""

    def close(self) -> None:
        """Closes the file."""
        if self.is_open:
            self._file.close()
        super().close()
