"""What the battery view says: the battery now, the offer of a change, what to do next, what changed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune.console import main_words, words
from fieldtune.console.shooting_state import ShootingState
from fieldtune.console.widgets.text_block import Part
from fieldtune.robot.model import Robot

if TYPE_CHECKING:
    from fieldtune.battery.change import Recalibration
    from fieldtune.battery.resistance import TwoPulse
    from fieldtune.battery.status import BatteryStatus
    from fieldtune.link.samples import Live
    from fieldtune.records import BatteryReading

_HEADS = {"spin": "Spin up", "shoot": "One or two shots", "done": "Done"}
_AFTER = {"spin": " to go on without.", "shoot": " when that is enough.", "done": " back to the main screen."}


def now(
    live: Live,
    shooting: ShootingState,
    robot: Robot,
    epoch: int | None,
    status: BatteryStatus | None,
    history: Sequence[BatteryReading],
) -> list[Part]:
    """The battery that is in, and what was measured of it and others."""
    measured = status is not None and status.ceiling is not None
    # The watch's ceiling follows every sample, the recommendation's the voltage it was worked out for: one is enough.
    volts = main_words.battery(live, shooting, robot)[: 2 if measured else None]
    parts: list[Part] = [("Battery now\n\n", "bold $act"), *volts]
    if live.current_a is not None:
        parts.append((f"\nCurrent {live.current_a:.1f} A", "$ink"))
    parts.append((f"\nBattery period {epoch}\n" if epoch else "\n", "$quiet"))
    if status is not None:
        from fieldtune.battery.status import status_lines

        parts += [(f"\n{words.printable(line)}", "$ink") for line in status_lines(status, robot)]
    if history:
        parts.append(("\n\nBatteries measured\n", "bold $act"))
    for reading in history[-6:]:
        said = [words.printable(reading.label or "no name"), reading.time[:10]]
        if reading.rest_v is not None:
            said.append(f"{reading.rest_v:.1f} V at rest")
        if reading.resistance_ohm is not None:
            said.append(f"{1000 * reading.resistance_ohm:.0f} mΩ with wiring")
        parts.append((", ".join(said) + "\n", "$ink"))
    return parts


def offer(offered: str, label: str | None) -> list[Part]:
    """A change that was noticed, and the keys that say whether it is one."""
    return [
        ("Was the battery changed?\n\n", "bold $act"), (f"{words.printable(offered)}.\n\n", "bold $ink"),
        ("Enter", "bold $act"), f" another battery is in{_named(label)}.   ",
        ("a", "bold $act"), " to name it first.\n",
        ("Backspace", "bold $act"), " the same one: nothing changes.",
    ]  # fmt: skip


def doubt(said: str) -> list[Part]:
    """What speaks against a change, before it is marked."""
    return [
        (f"{said}.\n\n", "bold $bad"), ("Enter", "bold $act"), " the battery was changed all the same.   ",
        ("Backspace", "bold $act"), " it was not.",
    ]  # fmt: skip


def plan(label: str | None, sim: bool) -> list[Part]:
    """How a change goes, before there is one."""
    parts: list[Part] = [
        ("Change of battery\n\n", "bold $act"),
        "1  Stop the wheel, let springs down, switch power off: change the battery.\n",
        "2  ", ("Enter", "bold $act"), f" when it is in{_named(label)}.   ",
        ("a", "bold $act"), " to name it first.\n\n",
        ("All shots are kept; one or two new ones show what this battery does. After a repair do the same.", "$quiet"),
    ]  # fmt: skip
    return [*parts, ("\np", "bold $act"), " gives the simulated robot another battery."] if sim else parts


def test(pulses: TwoPulse) -> list[Part]:
    """The test of the battery's resistance: what to do, or what came out."""
    said = words.printable(pulses.instruction)
    parts: list[Part] = [
        ("Resistance of the battery\n\n", "bold $act"),
        ("A small load for ten seconds, then a large one for a second (as in IEC 61960).\n\n", "$quiet"),
        (f"{said[:1].upper()}{said[1:]}.\n\n", "bold $ink"), ("o", "bold $act"),
    ]  # fmt: skip
    return [*parts, " leaves the test." if pulses.step in ("small", "large") else " back."]


def guidance(guided: Recalibration, live: Live) -> list[Part]:
    """What to do next, and what is known of the new battery so far."""
    from fieldtune.battery.change import changed, instruction

    parts: list[Part] = [(f"{_HEADS[guided.step]}\n\n", "bold $act")]
    if guided.step != "done":
        parts.append(f"{instruction(guided)}\n")
    if guided.step == "spin":
        parts.append((f"{_spinning(guided.robot, live)}\n", "bold $ink"))
    else:
        parts += [(f"\n{line}", "bold $ink") for line in changed(guided)]
    parts += [("\n\nEnter", "bold $act"), _AFTER[guided.step]]
    back = " undoes the change." if guided.step == "spin" else " a step back."
    return [*parts, ("   Backspace", "bold $act"), back]


def _spinning(robot: Robot, live: Live) -> str:
    if live.state != "live":
        return f"waiting for the robot: {words.printable(live.words)}"
    if not live.setpoint:
        return "waiting for its program to ask for a setpoint"
    return words.against(words.readback(live, robot), live.setpoint, robot)


def _named(label: str | None) -> str:
    return f" ({words.printable(label)})" if label else ""
