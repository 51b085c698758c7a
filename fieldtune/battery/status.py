"""What the battery watch says at one moment, in figures and in words; and whether a battery is tired."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fieldtune.frozen import frozen
from fieldtune.person_units import how_far
from fieldtune.records import as_json

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot


@frozen
class BatteryStatus:
    """Everything known of the battery now; None where it is not.

    ``charge`` 0..1 with its 90 % interval; ``sag_v`` seen at the last spin-up, ``sag_expected_v`` by the line;
    ``ceiling`` in setpoint units; ``holds``: the setpoint asked about can be held, ``recovers``: and is back between
    shots; ``shots_left`` at that setpoint, with a 90 % interval. ``warning`` is what should be said aloud; ``change``
    offers to note a battery change; ``missing`` says what would let the watch know more.
    """

    rest_v: float | None
    rest_sd_v: float | None
    resistance_ohm: float | None
    resistance_sd_ohm: float | None
    resistance_measured: bool
    charge: float | None
    charge_90: tuple[float, float] | None
    sag_v: float | None
    sag_expected_v: float | None
    ceiling: float | None
    setpoint: float | None
    distance_m: float | None
    holds: bool | None
    recovers: bool | None
    shots_left: float | None
    shots_left_90: tuple[float, float] | None
    shots_seen: int
    warning: str | None
    change: str | None
    missing: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Plain dict for ``--json``."""
        return dict(as_json(self))


def status_lines(status: BatteryStatus, robot: Robot) -> tuple[str, ...]:
    """The status as short readable lines, the most pressing first."""
    lines = [line for line in (status.warning, status.change) if line is not None]
    if status.rest_v is not None:
        lines.append(f"battery {status.rest_v:.2f} V at rest{_charge_words(status)}")
    if status.resistance_ohm is not None:
        source = "measured" if status.resistance_measured else "from the profile, not measured yet"
        lines.append(f"resistance {1000 * status.resistance_ohm:.0f} mΩ, {source}")
    if status.ceiling is not None:
        lines.append(f"holds up to {status.ceiling:.0f} {robot.setpoint.unit} now")
    shots = forecast_words(status)
    if shots is not None:
        lines.append(shots)
    return (*lines, *status.missing)


def _charge_words(status: BatteryStatus) -> str:
    if status.charge is None or status.charge_90 is None:
        return ""
    low, high = status.charge_90
    if high - low > 0.2:
        return f", {100 * low:.0f} to {100 * high:.0f} % charged"
    return f", about {100 * status.charge:.0f} % charged"


def forecast_words(status: BatteryStatus) -> str | None:
    """The forecast in shots, with as much precision as it has; None without one."""
    if status.shots_left is None or status.shots_left_90 is None:
        return None
    where = f" at {how_far(status.distance_m)}" if status.distance_m is not None else ""
    low, high = status.shots_left_90
    if status.shots_left >= 200:
        return f"more than 200 shots left{where}"
    if high > 3 * max(low, 1.0):
        return f"between {low:.0f} and {min(high, 999):.0f} more shots{where}"
    return f"about {status.shots_left:.0f} more shots{where}"


def warning_words(
    setpoint: float | None,
    unit: str,
    ceiling: float | None,
    holds: bool | None,
    recovers: bool | None,
    shots: tuple[float, float, float] | None,
) -> str | None:
    """What to say aloud before a shot falls short; None while there is no need. ``shots``: median, 5 %, 95 %."""
    if setpoint is None:
        return None
    if holds is False:
        return f"battery too low to hold {setpoint:.0f} {unit} (now {ceiling or 0:.0f}): swap it, or go closer"
    if recovers is False:
        return f"battery too low to be back at {setpoint:.0f} {unit} between shots: wait longer, swap it, or go closer"
    if shots is not None:
        if shots[1] < 3 or shots[0] < 6:
            return f"battery nearly too low: about {shots[0]:.0f} more shots at this setpoint, swap it soon"
        return None
    if ceiling is not None and ceiling < 1.01 * setpoint:
        return f"battery just about holds {setpoint:.0f} {unit} (up to {ceiling:.0f}): swap it before the next shots"
    return None


_TIRED = 1.5
"""Resistance over a young battery's at which batteries are retired or kept for practice (common practice)."""


def tired_words(history: Sequence[float], now_ohm: float | None, profile_ohm: float | None) -> str | None:
    """One line for a battery whose resistance has grown to half as much again; None where not, or unknown.

    ``history``: resistances of the same battery, ohms, oldest first. The young value is the lowest of its first three.
    """
    known = [r for r in history if r > 0]
    latest = now_ohm if now_ohm is not None else (known[-1] if known else None)
    young = min(known[:3]) if len(known) >= 2 or (known and now_ohm is not None) else profile_ohm
    if latest is None or young is None or young <= 0 or latest < _TIRED * young:
        return None
    source = "when first measured" if known else "in the profile"
    return (
        f"this battery is tired: {1000 * latest:.0f} mΩ now, {1000 * young:.0f} {source}; "
        "keep it for practice, and check its plug and wiring too"
    )
