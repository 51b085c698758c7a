"""Why the robot's own rpm, or its counter, says no speed, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.link.validation.dead_rpm import DeadRpm
    from fieldtune.link.validation.limited_rpm import LimitedRpm
    from fieldtune.link.validation.line_state import LineState

STANDS_STILL = "the wheel's counter or speed stands still: plug pulled?"
NO_WHEEL = "what is counted is no wheel: encoder's plug pulled?"
ZEROS = "wheel_rpm is 0 in every few lines"
_STANDS_AT, _OR_PULLED = "wheel_rpm stands at its highest value", "limited by the program, or plug pulled?"
NEVER_MORE = "wheel_rpm never says more than"


def why_no_own_rpm(own_rpm: DeadRpm, base: LineState | None) -> str:
    """Why own rpm is no speed now; empty where it is one. ``base``: the last believed line."""
    if own_rpm.zeros.unclear:
        return ZEROS
    dead = base is not None and base.dead
    if base is not None and dead and base.noise and base.told:
        return NO_WHEEL
    return STANDS_STILL if dead or own_rpm.dead else ""


def limited(limit: LimitedRpm) -> str:
    """That own rpm stands at its highest value; empty where it doesn't."""
    if not limit.stands:
        return ""
    return f"{NEVER_MORE} {limit.highest:.0f}" if limit.sure else f"{_STANDS_AT} {limit.highest:.0f}: {_OR_PULLED}"
