"""How the console says things: numbers with their units, states in words. No Textual, no colours."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from fieldtune.person_units import how_far, miss, us
from fieldtune.plain_text import counted as counted
from fieldtune.port_names import scheme_of

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.link.samples import Live
    from fieldtune.records import Result, Shot, UnansweredShot
    from fieldtune.robot.model import Robot


_TURNS_RPM, _STANDS_PCT, _APART_PCT = 300.0, -95.0, 15.0
"""From which speed on the second wheel turns too, and per cent of what it should do by which it is off then."""
_OFF, _STEADY = 0.02, 0.005
"""Shares of the setpoint by which a settled wheel may be off it, and waver."""


def number(value: float | None, robot: Robot) -> str:
    """A setpoint's digits, or a dash where it isn't known."""
    return "–" if value is None or not math.isfinite(value) else f"{value:.{robot.setpoint.decimals}f}"


def setpoint(value: float | None, robot: Robot) -> str:
    """A setpoint with its unit."""
    return "unknown" if value is None else f"{number(value, robot)} {robot.setpoint.unit}"


def metres(value: float | None) -> str:
    """A distance: centimetres or half inches are told apart."""
    return "unknown" if value is None else how_far(value)


def metres_cell(value: float | None) -> str:
    """A distance in a column; as wide as the longest of that system's units."""
    return f"{metres(value):>{11 if us() else 8}}"


def volts(value: float | None) -> str:
    """A battery voltage."""
    return "unknown" if value is None else f"{value:.1f} V"


def percent(value: float | None) -> str:
    """A probability in whole per cent, never rounded to a certainty that isn't there."""
    if value is None:
        return "unknown"
    whole = round(100 * value)
    if whole == 0 and value > 0:
        return "under 1 %"
    return "over 99 %" if whole == 100 and value < 1 else f"{whole} %"


def interval(pair: tuple[float, float] | None) -> str:
    """A 90 % interval of a probability."""
    return "how sure: unknown" if pair is None else f"{round(100 * pair[0])} to {round(100 * pair[1])} %"


_HOOD_OFF = 0.4
"""Degrees that a hood's reading may be off: what a potentiometer or a servo's own count jitters by (common
practice)."""


def readback(live: Live, robot: Robot) -> float | None:
    """What the robot reports of the thing that is set: wheel rpm, drive power in %, or draw in mm."""
    value: float | None = getattr(live, robot.setpoint.scale.readback)
    return value


def near(value: float, wanted: float, robot: Robot, aim: Aim | None = None) -> bool:
    """Whether a readback counts as on setpoint: within one step, or within one per cent.

    One per cent is too much where it leaves the range in which ``aim`` calls setpoints good, unless the setpoint is
    not in there itself.
    """
    off = abs(value - wanted)
    if off <= robot.setpoint.step or off > 0.01 * abs(wanted):
        return off <= robot.setpoint.step
    return aim is None or is_good(value, aim) or not is_good(wanted, aim)


def settled(live: Live, wanted: float) -> bool:
    """Whether the wheel keeps a little off its setpoint: it won't come nearer, and learning counts on it."""
    error, ripple = live.wheel.steady_error_rpm, live.wheel.ripple_rpm
    return error is not None and ripple is not None and abs(error) <= _OFF * wanted and ripple <= _STEADY * wanted


def is_good(setpoint: float, aim: Aim) -> bool:
    """Whether a setpoint scores nearly as well as the recommended one."""
    low, high = aim.setpoint.low, aim.setpoint.high
    return low is not None and high is not None and low - 1e-9 <= setpoint <= high + 1e-9


def against(value: float | None, wanted: float | None, robot: Robot, aim: Aim | None = None) -> str:
    """Readback against setpoint, in words: ``below by 40 rpm``, ``on setpoint``; ``aim`` as for ``near``."""
    if value is None:
        return "no readback"
    if wanted is None:
        return "no setpoint yet"
    if near(value, wanted, robot, aim):
        return "on setpoint"
    side = "below" if value < wanted else "above"
    return f"{side} by {setpoint(abs(wanted - value), robot)}"


def hood_read(read_deg: float | None, robot: Robot) -> float | None:
    """Exit angle that the line reads, to half a degree; None without a hood, and for an angle that it can't have."""
    known = read_deg is not None and robot.hood is not None and robot.hood.holds(read_deg)
    return round(2 * read_deg) / 2 if known and read_deg is not None else None


def hood_now(live: Live, robot: Robot, aim: Aim | None) -> float | None:
    """Where the hood stands: as the line says, else as recommended; None without one."""
    read = hood_read(live.hood_deg, robot)
    return read if read is not None or aim is None or robot.hood is None else aim.exit_angle_setpoint_deg


def hood_elsewhere(live: Live, robot: Robot, aim: Aim | None) -> str:
    """Where the hood on the line stands, if that isn't as recommended; empty otherwise."""
    wanted = None if aim is None or robot.hood is None else aim.exit_angle_setpoint_deg
    if wanted is None or robot.hood is None or live.hood_deg is None:
        return ""
    if abs(live.hood_deg - wanted) <= max(robot.hood.step / 2, _HOOD_OFF):
        return ""
    return f"hood at {live.hood_deg:.1f}°, set it to {wanted:g}°"


def second_wheel_off(live: Live, robot: Robot) -> str:
    """What is wrong with the second wheel of a pair while the first one turns; empty where nothing is."""
    off = live.wheel.second_wheel_mismatch_pct
    pair = robot.launcher.mechanism.by_motion(lambda wheel: wheel.wheels > 1, lambda _: False)
    if off is None or not pair or (live.wheel_rpm or 0.0) < _TURNS_RPM:
        return ""
    if off < _STANDS_PCT:
        return "second wheel stands still"
    if abs(off) < _APART_PCT or live.wheel.ripple_rpm is None:  # it may need longer to spin up
        return ""
    return f"second wheel {abs(off):.0f} % too {'slow' if off < 0 else 'fast'}"


def what_turns(robot: Robot) -> str:
    """The thing whose setpoint is given: wheel, drive, striker or arm."""
    return robot.launcher.mechanism.noun(robot.setpoint.scale)


def order(robot: Robot) -> str:
    """What to do with a setpoint: ``Set the wheel to``, ``Draw the spring to``."""
    return robot.launcher.mechanism.order(robot.setpoint.scale)


def moving(live: Live, robot: Robot) -> bool:
    """Whether something stored or spinning is there: a turning wheel, a drawn spring."""
    return robot.launcher.mechanism.moves(live.wheel_rpm, live.wheel2_rpm, live.draw_mm)


def moving_still(live: Live, robot: Robot, before: bool) -> bool:
    """As ``moving``; where nothing is read, as ``before``: a wheel turns on when its encoder's plug is pulled."""
    unknown = live.wheel_rpm is None and live.wheel2_rpm is None and live.draw_mm is None
    return before if unknown else moving(live, robot)


def standing_caution(live: Live, robot: Robot, moved: bool) -> str:
    """The line that stays on the screen; it names what is stored right now. ``moved``: as of ``moving_still``."""
    now, always = robot.launcher.mechanism.loaded_words
    read = "" if moving(live, robot) else ", last read"
    stored = f"{now}{read}:" if moved else f"{always} can hurt:"
    return f"{stored} hands off, range clear, eye protection on"


_PORT_WIDE = 40
"""Letters of a port's name; of a longer one the folder is left out. The Line view has it whole."""


def link_line(live: Live) -> str:
    """Link health in one breath."""
    rate = "" if live.health.rate_hz is None else f", {live.health.rate_hz:.0f} samples/s"
    lost = sum(live.health.dropped.values())
    dropped = f", {counted(lost, 'line')} dropped" if lost else ""
    dropped += ": press c" if dropped and live.state == "searching" else ""
    said = re.sub(r"sim://\S*[/\\](\S+)\.toml", r"sim://\1", live.words)  # which file it is does not matter here
    scheme, there, path = (live.port or "").rpartition("://")
    if len(path) > _PORT_WIDE and path.startswith("/"):  # what stands behind it, a remedy perhaps, would be cut off
        said = said.replace(f"{scheme}{there}{path}", f"{scheme}{there}…/{path.rpartition('/')[2]}")
    other = f"; also {live.others[0]}: ^p reads it" if live.others else ""
    return f"{said}{rate if live.state == 'live' else ''}{dropped}{other}"


def holds(aim: Aim, robot: Robot) -> tuple[str, bool]:
    """The highest setpoint that the battery can hold, in words, and whether the recommended one is below it."""
    if aim.ceiling is None:
        return "ceiling unknown", True
    ceiling = f"ceiling {setpoint(aim.ceiling, robot)}"
    wanted = aim.setpoint.value
    if wanted is not None and wanted > aim.ceiling:
        return f"✗ {ceiling}, too low", False
    return ceiling, True


def result_of(shot: Shot) -> str:
    """A shot's result in words, with its measured miss."""
    said = [] if shot.result is None else [str(shot.result)]
    if shot.miss_m is not None:
        said.append(miss(shot.miss_m))
    if shot.side_m is not None:
        said.append(f"side {miss(shot.side_m)}")
    return " ".join(said) or "no result"


def seen_result(result: Result, miss_m: float | None) -> str:
    """What was seen of a shot: ``short, by 12 cm``."""
    if miss_m is None or result not in ("short", "long"):
        return str(result)
    return f"{result}, by {miss(abs(miss_m), signed=False)}"


def result_words(result: Result | None, miss_m: float | None) -> str:
    """A result or a measured miss, in a word."""
    return str(result) if result is not None else "this miss" if miss_m is None else miss(miss_m)


def age(seconds: float) -> str:
    """How long ago something was: ``12 s ago``, ``3 min ago``."""
    if seconds < 100:
        return f"{seconds:.0f} s ago"
    return f"{seconds / 60:.0f} min ago" if seconds < 6000 else f"{seconds / 3600:.0f} h ago"


def seen_words(shot: UnansweredShot, age_s: float, robot: Robot) -> str:
    """A shot that was seen: ``12 s ago, 2.00 m, 1330 rpm``, and what else tells it from others."""
    said = [age(age_s), metres(shot.distance_m) if shot.distance_m is not None else "distance unknown"]
    said.append(setpoint(shot.setpoint, robot))
    if shot.target is not None and len(robot.targets) > 1:
        said.append(shot.target)
    return ", ".join(said) + (f", seen {shot.hint}" if shot.hint else "")


def shot_state(shot: Shot) -> str:
    """Whether the shot counts, in words; empty if it does."""
    if shot.undone:
        return "undone"
    if shot.excluded is not None:
        return f"left out: {shot.excluded}"
    return "corrected" if shot.corrected else ""


def shorten(text: str, width: int) -> str:
    """Text cut to a width, the cut shown."""
    return text if len(text) <= width else text[: max(0, width - 1)] + "…"


def fitted(text: str, width: int) -> str:
    """A line that names a file, cut to a width where it says least: in the file's folder, and only then at its end."""
    place, colon, rest = text.partition(": ")
    if len(text) > width and colon and "/" in place:
        text = f"…/{place.rpartition('/')[2]}: {rest}"
    return shorten(text, width)


def rows(pieces: list[str], width: int, gap: str = "   ") -> str:
    """Pieces side by side in as many rows as they need; none is broken across rows."""
    lines: list[str] = []
    for piece in pieces:
        if lines and len(lines[-1]) + len(gap) + len(piece) <= width:
            lines[-1] += gap + piece
        else:
            lines.append(shorten(piece, max(1, width)))
    return "\n".join(lines)


def printable(text: str) -> str:
    """Text from outside with everything that could steer a terminal replaced by a dot."""
    return "".join(c if c.isprintable() else "·" for c in text)


def of_replay(live: Live) -> list[str]:
    """What is odd about answering a shot of a recording; empty on a robot's own line."""
    return ["the line is a recording: this would count as shot now"] if scheme_of(live.port) == "replay" else []
