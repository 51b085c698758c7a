"""What a window says before all else: what is asked, and in a small one the essential lines."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING

from fieldtune.console import main_words, words
from fieldtune.records import Shot

if TYPE_CHECKING:
    from fieldtune.console.controller import Controller
    from fieldtune.console.widgets.text_block import Part
    from fieldtune.link.samples import Live

RESULT_KEYS = "i in  s short  l long  ← left  → right"


def asking(controller: Controller) -> str:
    """What the result keys are for, in one line; empty where no shot waits for a result."""
    shooting, robot = controller.shooting, controller.robot
    answer = shooting.answer
    if answer is not None:
        said = words.result_words(answer.result, answer.miss_m)
        robots = "   0 with the robot's distance" if answer.robot_elsewhere else ""
        return f"{answer.doubt[:1].upper()}{answer.doubt[1:]}. y {said} all the same{robots}   x no"
    if not shooting.asked_about():
        return ""
    shots = shooting.asked_about()
    if len(shots) > 1:
        return f"{len(shots)} shots chosen. Where did they go?  {RESULT_KEYS}  x none were shots"
    shot, more = shots[0], len(shooting.unanswered) - 1
    if isinstance(shot, Shot):
        return f"Shot {shot.shot} was {words.result_of(shot)}. Where did it go?  {RESULT_KEYS}"
    older = f" ({more} more: h)" if more > 0 else ""
    return f"Shot {words.seen_words(shot, shooting.age_s(shot), robot)}{older}. Where did it go?"


def essentials(live: Live, controller: Controller, width: int, rows: int) -> list[Part]:
    """What a window too small for more says: setpoint, readback, chance, and the one thing to do.

    That one thing is whole; for it the others move together, and then give way, the chance first.
    """
    shooting, robot = controller.shooting, controller.robot
    asked = asking(controller)
    said = asked or shooting.offer or main_words.next_step(live, shooting, robot, controller.simulated, False)
    keys_kept = re.sub(r"   (\S) ", "   \\1\N{NO-BREAK SPACE}", f"▶ {said}")
    todo: list[Part] = [("\n".join(textwrap.wrap(keys_kept, max(10, width))).replace("\xa0", " "), "bold $act")]
    order: list[Part] = [("No setpoint yet", "bold $act")]
    if shooting.recommended is not None:
        old = "" if shooting.aim_holds else "  (old: working it out)"
        number = words.setpoint(shooting.recommended, robot)
        order = [(f"{words.order(robot)} {number}{main_words.hood_order(shooting.aim)}", "bold $act"), (old, "$quiet")]
    thing, value, verdict, *_ = main_words.readback(live, shooting, robot)
    beside: Part = (verdict[0].strip(), verdict[1])
    off: Part = (main_words.setpoint_verdict(live, shooting, robot), "$quiet")
    chance = main_words.chance(shooting.aim)
    where: list[Part] = [("Distance unknown", "$quiet")]
    if controller.encoder is not None and controller.encoder.caution is not None:
        where = [("wheel speed in doubt: press ^e", "bold $bad")]
    elif shooting.distance is not None:
        read = shooting.reading_apart_m
        said = shooting.distance.words if read is None else f"robot reads {words.metres(read)}: key 0"
        style = "$quiet" if read is None else "bold $bad"
        where = [(f"From {words.metres(shooting.distance.value_m)}  ", "$quiet"), (said, style)]
    rows_of: tuple[list[Part], ...] = ([thing, value, "  ", beside, off], [value, "  ", beside, off], [beside, off])
    one_row = next((row for row in rows_of if _length(row) <= width), [beside])
    with_chance: list[Part] = [*order, (", chance ", "$quiet"), chance[1]]
    fewer: tuple[list[list[Part]], ...] = (
        [where, order, [thing, value], [beside, off], chance[:3], todo],
        [where, order, one_row, chance[:3], todo],
        [where, with_chance if _length(with_chance) <= width else order, one_row, todo],
        [with_chance if _length(with_chance) <= width else order, one_row, todo],
        [order, todo],
    )
    room = rows - len(todo[0][0].split("\n"))
    lines = next((lines for lines in fewer if sum(_rows(line, width) for line in lines[:-1]) <= room), [todo])
    return [part for number, line in enumerate(lines) for part in (["\n", *line] if number else line)]


def _rows(line: list[Part], width: int) -> int:
    return max(1, -(-_length(line) // max(1, width)))


def _length(parts: list[Part]) -> int:
    return sum(len(part if isinstance(part, str) else part[0]) for part in parts)
