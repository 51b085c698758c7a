"""Command that shows the wheel as a controlled thing."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.aim import add_target
from fieldtune.commands.printing import give, how_far, number, percent, point_to_cautions, record
from fieldtune.plain_text import columns, pairs

if TYPE_CHECKING:
    from fieldtune.aim.error_budget import HoldVerdict
    from fieldtune.link.recordings.wheel_response import WheelResponse

_FIGURES = (
    ("static_offset_pct", "static offset", 2, "% of battery voltage: turns the wheel at all"),
    ("speed_slope_pct_per_rpm", "speed slope", 5, "% a rpm besides"),
    ("static_offset_v", "static offset", 3, "V"),
    ("speed_slope_v_per_rpm", "speed slope", 6, "V a rpm"),
    ("time_constant_s", "time constant", 3, "s to 63 % of a step"),
    ("overshoot_rpm", "overshoot", 0, "rpm above the speed it comes to"),
    ("settling_s", "settling time", 2, "s until it stays within 2 %"),
    ("steady_error_rpm", "steady error", 1, "rpm at rest above the setpoint"),
    ("ripple_rpm", "ripple", 1, "rpm, root mean square at rest"),
    ("no_load_torque_nm", "no-load torque", 4, "N m at the wheel, beyond the motors' own: drive.no_load_torque"),
    ("hold_current_a", "current while holding", 2, "A of the battery at the fastest setpoint, by that torque"),
)


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the command."""
    response = arguments.declare(commands, "response", _response, "how the wheel answers and holds, from a recording")
    arguments.add_robot(response)
    words = "recording of the wheel at some setpoints, two seconds each, without shots"
    response.add_argument("--recording", metavar="FILE", required=True, help=words)
    add_target(response)


def _response(args: argparse.Namespace) -> None:
    from fieldtune.link import RecordedLine

    with arguments.open_session(args) as session:
        found = session.response(RecordedLine(args.recording, how_far(f"reading {args.recording}")))
        verdict = session.hold_verdict(found, args.target)
    give(args, {"robot": session.robot.name, **record(found), "verdict": record(verdict)}, _words(found, verdict))
    point_to_cautions(session.robot)


def _words(found: WheelResponse, verdict: HoldVerdict) -> list[str]:
    rows = []
    for key, label, digits, unit in _FIGURES:
        value, spread = getattr(found, key), found.spread.get(key)
        give_or_take = "" if spread is None else f" ± {number(spread, digits)}"
        rows.append((label, None if value is None else f"{number(value, digits)}{give_or_take}", unit))
    rows.append(("hold error", f"{100 * found.hold_error:.2f} %", "of the speed: fieldtune budget takes it as --hold"))
    table = columns(
        ("setpoint", "from (rpm)", "comes to (rpm)", "63 % in (s)", "overshoot (rpm)", "ripple (rpm)", "power"),
        [
            (f"{s.setpoint:g}", number(s.from_rpm, 0), number(s.final_rpm, 0), number(s.time_constant_s, 2),
             number(s.overshoot_rpm, 0), number(s.ripple_rpm, 1),
             percent(None if s.power_pct is None else s.power_pct / 100))
            for s in found.steps
        ],
    )  # fmt: skip
    return [verdict.words, *pairs(rows), *(f"  note: {note}" for note in found.notes), *table]
