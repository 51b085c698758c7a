"""What a robot may be called: its name is the stem of its profile's and its log's file."""

from __future__ import annotations

import re

NAME_RULE = "1 to 32 of a-z, 0-9 and -"
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,31}")
_DEVICE = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9]")
"""What Windows keeps for devices, with any ending (Microsoft, "Naming Files, Paths, and Namespaces")."""


def is_name(text: str) -> bool:
    """Whether a robot can be called so, on every system that its files may be carried to."""
    return _NAME.fullmatch(text) is not None and _DEVICE.fullmatch(text) is None
