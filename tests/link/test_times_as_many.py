"""Names that say that a number is so many times the reading, and times with a zone, as programs print them.

What is pasted is put into a profile here, and read with. Q8.8 is the usual name of a number with 8 bits behind its
point; `Z` and `+01:00` behind a time are the zones of ISO 8601.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies

PROFILE = Path(__file__).parents[2] / "profiles" / "heron.toml"
RPM, VOLTS = 1400.0, 10.9


def fed(robot, text_of):
    line = Line(robot)
    for number in range(200):
        at_s = 1.0 + number / 50
        rpm = RPM + 8 * ((number * 7) % 5 - 2)
        line.feed(text_of(at_s, rpm).encode(), at_s + 0.003)
    return line, at_s


def pasted(said, folder):
    """The profile with what was told to paste in it."""
    text, table = PROFILE.read_text(encoding="utf-8"), ""
    for one in "\n".join(said).split("\n"):
        if re.fullmatch(r"\[link\.\w+\]", one):
            table = one
            text += f"\n{table}\n" if table not in text else ""
        elif table and re.match(r"\w+ = ", one):
            text = text.replace(table, f"{table}\n{one}", 1)
    path = folder / "heron.toml"
    path.write_text(text, encoding="utf-8")
    return load_robot(str(path))


@pytest.mark.parametrize(
    "text",
    [
        "t_ms={t},rpm_x10={r10},battery_cv={cv}\n",
        "t_ms={t} rpm_x100={r100} vbat_dv={dv}\n",
        "t_ms={t},speed_q8={q8},vbat_q8_8={vq8}\n",
        "2026-03-14T10:00:{s:06.3f}Z rpm={r} volts={v:.2f}\n",
        "2026-03-14T10:00:{s:06.3f}+01:00 rpm={r} volts={v:.2f}\n",
    ],
)
def test_what_is_pasted_reads_speed_and_battery(text, tmp_path):
    def text_of(at_s, rpm):
        numbers = {"r10": 10 * rpm, "r100": 100 * rpm, "q8": rpm / 60 * 256, "cv": 100 * VOLTS, "dv": 10 * VOLTS}
        numbers |= {"t": 1000 * at_s, "r": rpm, "vq8": 256 * VOLTS}
        return text.format(s=at_s, v=VOLTS, **{name: round(number) for name, number in numbers.items()})

    robot = load_robot("heron")
    line, _ = fed(robot, text_of)
    line, at_s = fed(pasted(remedies(line.health(), line.raw(60), None, robot), tmp_path), text_of)
    live = line.live("live", "reading", None, at_s + 0.01)
    assert live.wheel_rpm == pytest.approx(RPM, rel=0.02)
    assert live.battery_v == pytest.approx(VOLTS, abs=0.06)
    assert line.health().clock == "robot"


def test_a_row_of_our_names_leaves_nothing_to_be_said():
    robot, header = load_robot("heron"), ["t_ms,wheel_rpm,setpoint,battery_mv\n"]

    def text_of(at_s, rpm):
        return (header.pop() if header else "") + f"{1000 * at_s:.0f},{rpm:.0f},1400,10900\n"

    line, at_s = fed(robot, text_of)
    assert line.live("live", "reading", None, at_s + 0.01).wheel_rpm == pytest.approx(RPM, rel=0.02)
    assert remedies(line.health(), line.raw(60), None, robot) == []
