"""What the console of one robot may be left for, and what to open next."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from fieldtune.frozen import frozen

NO_LINE = "none"
"""As a port: the robot has no line, everything is typed."""


@frozen
class Opening:
    """What to open: a profile, on its own line (``port`` None) or on this port."""

    profile: Path
    port: str | None = None


@frozen
class Wish:
    """What the console of a robot was left for: the list of robots, or to open that robot anew.

    ``said``: what is to be read on the next screen; ``port``: that on which the robot was opened, where it was named.
    """

    what: Literal["robots", "again"]
    profile: Path | None = None
    said: str = ""
    port: str | None = None
