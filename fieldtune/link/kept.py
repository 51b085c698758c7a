"""Where the console keeps what the line said, session by session, so that a match can be looked at again."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from fieldtune.link.recording import SUFFIX

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
