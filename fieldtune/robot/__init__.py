"""What the robot is: the profile, read and checked, in SI."""

from fieldtune.robot.figures import derived_lines
from fieldtune.robot.findings import Problem
from fieldtune.robot.homes import (
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
