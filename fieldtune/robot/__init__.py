"""What the robot is: the profile, read and checked, in SI. Each door is opened on first use."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldtune.robot.derived import derived_lines
    from fieldtune.robot.home import (
        ProfileEntry,
        claim_profile,
        demo_home,
        find_profile,
        find_profiles,
        is_demo,
        load_robot,
        profile_home,
        store_path,
        writable_home,
    )
    from fieldtune.robot.profile import check_profile, load_profile, read_profile
    from fieldtune.robot.starter import new_profile_text
    from fieldtune.robot.table_reader import Problem

__all__ = [
    "Problem",
    "ProfileEntry",
    "check_profile",
    "claim_profile",
    "demo_home",
    "derived_lines",
    "find_profile",
    "find_profiles",
    "is_demo",
    "load_profile",
    "load_robot",
    "new_profile_text",
    "profile_home",
    "read_profile",
    "store_path",
    "writable_home",
]

_ROOMS = {"derived_lines": "derived", "Problem": "table_reader", "new_profile_text": "starter"}
_ROOMS |= dict.fromkeys(("check_profile", "load_profile", "read_profile"), "profile")


def __getattr__(name: str) -> Any:
    """Imports the room of a public name."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_ROOMS.get(name, 'home')}"), name)
