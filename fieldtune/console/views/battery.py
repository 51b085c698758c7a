"""The battery: what it holds now, and the guided change of it, which takes a minute and one or two shots."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from fieldtune.console import advice, keys, words
from fieldtune.console.desk import Place
from fieldtune.console.entry import Entry
from fieldtune.console.plates import Part, Plate
from fieldtune.console.resulting import Resulting
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.link.live import Live
    from fieldtune.records import BatteryReading
    from fieldtune.robot.model import Robot

Step = Literal["before", "changing", "spin", "shoot", "done"]
HELD_S = 0.8
"""How long the wheel has to stay on setpoint to count as spun up."""


def _label(text: str) -> str:
    said = text.strip()
    if not said or len(said) > 40:
        raise InputError("write what stands on the battery, at most 40 characters: blue 3")
    return said


class BatteryView(Resulting):
    """Battery state at the left, the guided change at the right."""

    TITLE_WORDS = "Battery"
    OWN: ClassVar[list[Binding]] = [
        Binding("enter", "go_on", "Go on", tooltip="Changed, or next step", id="battery-go-on", key_display="Enter"),
        Binding("a", "label", "Name the battery", tooltip="Note what stands on the battery",
                id="battery-label"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN, *keys.RESULTS, *keys.SIMULATED]

    def __init__(self) -> None:
        super().__init__()
        self.step: Step = "before"
        self.label: str | None = None
        self._begun_at: float | None = None
        self._on_since: float | None = None
        self._spun_up_s: float | None = None
        self._rest_v: float | None = None
        self._distance: float | None = None
        self._before: Aim | None = None
        self._after: Aim | None = None
        self._lesson = -1
        self._noted = True
        self._history: tuple[BatteryReading, ...] = ()

    def compose_body(self) -> ComposeResult:
        with Horizontal(id="battery-body"):
            yield Plate(id="battery-now")
            yield Plate(id="battery-change")
        yield Plate(id="todo")

    def key_rows(self) -> list[list[Binding]]:
        sim = keys.SIMULATED if self.console.sim else []
        return [keys.RESULTS, [*self.OWN, *sim, *keys.VIEWS, *keys.ALWAYS]]

    def on_mount(self) -> None:
        """Read what was measured of earlier batteries (the board's own mounting runs as well)."""
        self.console.begin("battery", self._read_history)

    async def _read_history(self) -> None:
        history = await self.console.ask_log("Reading the batteries", self.console.session.batteries)
        self._history = history or ()

    def tick(self, live: Live) -> None:
        super().tick(live)
        console, robot, desk = self.console, self.console.robot, self.console.desk
        if self.step == "spin":
            self._watch_spin_up(live)
        if self.step == "shoot" and console.book.lesson != self._lesson:
            self._lesson = console.book.lesson
            console.begin("battery", self._compare)
        if self.step in ("shoot", "done"):
            self._note_measured()
        self.query_one("#battery-now", Plate).put(*self._now(live))
        self.query_one("#battery-change", Plate).put(*self._change(live))
        todo = advice.todo(live, desk, robot, console.sim, console.book.keeping) if self.step == "shoot" else [""]
        self.query_one("#todo", Plate).put(*todo)

    # the steps

    def action_label(self) -> None:
        """Note what stands on the battery."""
        asked: Entry[str] = Entry("What stands on the new battery?", _label, "blue 3, or a number")
        self.app.push_screen(asked, self._take_label)

    def _take_label(self, label: str | None) -> None:
        if label is not None:
            self.label = label

    def action_go_on(self) -> None:
        """The next step."""
        if self.step in ("before", "done"):
            self.step = "changing"
            self.console.begin("log", self._swap, exclusive=False)
        elif self.step == "spin":
            self._to_shooting()
        elif self.step == "shoot":
            self.step = "done"

    async def _swap(self) -> None:
        console, session, name = self.console, self.console.session, self.console.desk.target.name
        planned = await console.ask("The next shot", session.next, name)
        place = console.desk.place
        self._distance = planned.distance_m if planned is not None else (place.distance_m if place else None)
        if self._distance is not None:
            self._before = await console.ask("The setpoint before", session.aim, self._distance, None, name)
        epoch = await console.ask_log("Marking the change", session.swap, self.label)
        if epoch is None:
            self.step = "before"
            return
        console.say(f"kept: battery changed, epoch {epoch}")
        console.book.relearn()
        console.pack.changed()
        self._noted = False
        self._rest_v, self._begun_at, self._after = console.live.battery_v, console.clock(), None
        self._on_since = self._spun_up_s = None
        if console.robot.launcher.kind == "flywheel" and console.live.state == "live":
            self.step = "spin"
        else:
            self._to_shooting()

    def _watch_spin_up(self, live: Live) -> None:
        now, robot = self.console.clock(), self.console.robot
        value, wanted = words.readback(live, robot), live.setpoint
        if value is not None and value < 0.1 * (wanted or 1.0):
            self._begun_at, self._rest_v = now, live.battery_v
        on = value is not None and wanted is not None and wanted > 0 and words.near(value, wanted, robot)
        if not on:
            self._on_since = None
        elif self._on_since is None:
            self._on_since = now
        elif now - self._on_since >= HELD_S:
            self._spun_up_s = live.wheel.spin_up_s
            self._to_shooting()

    def _note_measured(self) -> None:
        """Keep what the watch measured of the new battery, once, when it knows."""
        watch, status = self.console.pack.watch, self.console.pack.status
        ohm = None if watch is None else watch.resistance_measured
        if ohm is not None and status is not None and not self._noted:
            self._noted = True
            self.console.begin("log", self._keep_measured, ohm, status.rest_v, exclusive=False)

    async def _keep_measured(self, ohm: float, rest_v: float | None) -> None:
        await self.console.ask_log("Keeping what was measured", self.console.session.keep_battery, ohm, rest_v)
        await self._read_history()

    def _to_shooting(self) -> None:
        self.step, self._lesson = "shoot", self.console.book.lesson
        if self._distance is not None:
            self.console.go(Place(round(self._distance, 2), "step", "to find the new battery's level"))

    async def _compare(self) -> None:
        if self._distance is not None:
            console = self.console
            name = console.desk.target.name
            self._after = await console.ask("The setpoint now", console.session.aim, self._distance, None, name)

    # what is shown

    def _now(self, live: Live) -> list[Part]:
        console = self.console
        parts: list[Part] = [("Battery now\n\n", "bold $act"), *advice.battery(live, console.desk, console.robot)]
        if live.current_a is not None:
            parts.append((f"\nCurrent {live.current_a:.1f} A", "$ink"))
        parts.append((f"\nEpoch {console.book.epoch}\n" if console.book.epoch else "\n", "$quiet"))
        if console.pack.status is not None:
            from fieldtune.sizing.battery_status import status_lines

            parts += [
                (f"\n{words.printable(line)}", "$ink") for line in status_lines(console.pack.status, console.robot)
            ]
        if self._history:
            parts.append(("\n\nMeasured before\n", "bold $act"))
        for reading in self._history[-6:]:
            said = [words.printable(reading.label or "no name"), reading.time[:10]]
            if reading.rest_v is not None:
                said.append(f"{reading.rest_v:.1f} V at rest")
            if reading.resistance_ohm is not None:
                said.append(f"{1000 * reading.resistance_ohm:.0f} mΩ with wiring")
            parts.append((", ".join(said) + "\n", "$ink"))
        return parts

    def _change(self, live: Live) -> list[Part]:
        robot = self.console.robot
        named = f" ({words.printable(self.label)})" if self.label else ""
        where = words.metres(self._distance) if self._distance is not None else "where you are"
        steps: dict[Step, list[Part]] = {
            "before": [
                ("Change of battery\n\n", "bold $act"),
                "1  Wheel stopped, spring down, power off: change the battery.\n",
                "2  ", ("Enter", "bold $act"), f" when it is in{named}.   ",
                ("a", "bold $act"), " to name it first.\n\n",
                ("Shots stay; one or two new ones find the new level. The same key serves after a repair.", "$quiet"),
            ],
            "changing": [("Marking the change…", "$quiet")],
            "spin": [
                ("Spin up\n\n", "bold $act"),
                "No element in the launcher, range clear.\n",
                f"Bring the {words.what_turns(robot)} to its setpoint once, and hold it a second.\n",
                (f"{words.against(words.readback(live, robot), live.setpoint, robot)}\n\n", "bold $ink"),
                ("Enter", "bold $act"), " to go on without.",
            ],
            "shoot": [
                ("One or two shots\n\n", "bold $act"), f"From {where}, then press where each went.\n\n",
                *self._spin_words(), *changed(self._before, self._after, robot),
                ("\n\nEnter", "bold $act"), " when that is enough.",
            ],
            "done": [
                ("Done\n\n", "bold $act"), *self._spin_words(), *changed(self._before, self._after, robot),
                ("\n\nEsc", "bold $act"), " back to the main screen.   ", ("Enter", "bold $act"), " another change.",
            ],
        }  # fmt: skip
        return steps[self.step]

    def _spin_words(self) -> list[Part]:
        return [] if self._spun_up_s is None else [f"Spin-up took {self._spun_up_s:.1f} s.\n"]


def changed(before: Aim | None, after: Aim | None, robot: Robot) -> list[Part]:
    """What the change did to the setpoint at one distance, in words."""
    if before is None or before.setpoint.value is None:
        return [""]
    was = f"At {words.metres(before.distance_m)} the setpoint was {words.setpoint(before.setpoint.value, robot)}"
    if after is None or after.setpoint.value is None:
        return [(was + ".", "$quiet")]
    by = after.setpoint.value - before.setpoint.value
    if abs(by) < robot.setpoint.step / 2:
        said = "and stays there"
    else:
        more = "more" if by > 0 else "less"
        said = f"and is now {words.setpoint(after.setpoint.value, robot)}: {words.setpoint(abs(by), robot)} {more}"
    chance = f"Chance {words.percent(before.hit_probability)} before, {words.percent(after.hit_probability)} now."
    return [(f"{was}, {said}.\n{chance}", "bold $ink")]
