"""The battery: what it holds now, and the guided change of it, which takes a minute and one or two shots."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from fieldtune.console import keys
from fieldtune.console.screens import battery_words, main_words
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.shooting_state import Distance
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.battery.change import Outlook, Recalibration
    from fieldtune.battery.resistance import TwoPulse
    from fieldtune.link.snapshot import Live
    from fieldtune.records import BatteryReading


def read_label(text: str) -> str:
    said = text.strip()
    if not said or len(said) > 40:
        raise InputError("write the battery's name or number, at most 40 characters: blue 3")
    return said


class BatteryScreen(ConsoleScreen):
    """Battery state at the left, the guided change at the right."""

    TITLE_WORDS = "Battery"
    OWN: ClassVar[list[Binding]] = [
        Binding("enter", "go_on", "Go on", tooltip="The battery is changed, or on to the next step",
                id="battery-go-on", key_display="Enter"),
        Binding("o", "same", "Same one", tooltip="No other battery is in: it is still the same one",
                id="battery-same"),
        Binding("a", "label", "Name the battery", tooltip="Type the name or number written on the battery",
                id="battery-label"),
        Binding("r", "resistance", "Resistance", tooltip="Measure the battery's resistance by a small and a large load",
                id="battery-resistance"),
    ]  # fmt: skip
    SIM: ClassVar[list[Binding]] = [
        Binding("p", "other_battery", "Other battery (sim)", tooltip="Give the simulated robot another battery",
                id="battery-other"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN, *keys.RESULTS, *keys.SIMULATED, *SIM]

    def __init__(self) -> None:
        super().__init__()
        self.label: str | None = None
        self._marking = False
        self._lesson: int | None = None
        self._read_at = 0
        self._load: str | None = None
        self._history: tuple[BatteryReading, ...] = ()

    def compose_body(self) -> ComposeResult:
        with Horizontal(id="battery-body"):
            yield TextBlock(id="battery-now")
            yield TextBlock(id="battery-change")
        yield TextBlock(id="todo")

    def key_rows(self) -> list[list[Binding]]:
        sim = [*keys.SIMULATED, *self.SIM] if self.controller.simulated else []
        own = [key for key in self.OWN if key.action != "same" or self.controller.battery.offered]
        return [keys.RESULTS, [*own, *sim, *keys.VIEWS, *keys.ALWAYS]]

    def on_mount(self) -> None:
        """Read what was measured of earlier batteries (the screen's own mounting runs as well)."""
        self.controller.background.begin("battery history", self._read_history)

    async def _read_history(self) -> None:
        history = await self.controller.background.ask_log(
            "Reading the batteries", self.controller.session.log.batteries
        )
        self._history = history or ()

    @property
    def guided(self) -> Recalibration | None:
        """The recalibration under way or just done; it goes on where it was when this view is opened again."""
        return self.controller.battery.guided

    def tick(self, live: Live) -> None:
        super().tick(live)
        controller, guided = self.controller, self.guided
        shooting = guided is not None and guided.step == "shoot"
        if shooting and self._lesson is None:
            self._to_shooting()
        if shooting and controller.recorder.lesson != self._lesson:
            self._lesson = controller.recorder.lesson
            controller.background.begin("battery", self._compare)
        if self._read_at != controller.battery.kept:
            self._read_at = controller.battery.kept
            controller.background.begin("battery history", self._read_history)
        self._load_simulated(controller.battery.pulses)
        robot, writing, battery = controller.robot, controller.recorder.writing, controller.battery
        now = battery_words.now(
            live, controller.shooting, robot, controller.recorder.epoch, battery.status, self._history
        )
        self.query_one("#battery-now", TextBlock).put(*now)
        self.query_one("#battery-change", TextBlock).put(*self._change(live))
        self.query_one("#todo", TextBlock).put(
            *(main_words.todo(live, controller.shooting, robot, controller.simulated, writing) if shooting else [""])
        )

    # the steps

    def action_label(self) -> None:
        """Type the name or number written on the battery."""
        asked: EntryLine[str] = EntryLine(
            "Name or number written on the new battery?", read_label, "blue 3, or a number"
        )
        self.app.push_screen(asked, self._take_label)

    def _take_label(self, label: str | None) -> None:
        if label is not None:
            self.label = label

    def action_go_on(self) -> None:
        """The next step."""
        guided = self.guided
        if self._marking:
            return
        if guided is None or guided.step == "done" or self.controller.battery.offered:
            self._marking = True
            self.controller.background.begin("log", self._swap, exclusive=False)
        elif guided.step == "spin":
            guided.skip_spin()
        else:
            guided.finish()

    def action_same(self) -> None:
        """No other battery is in: it is still the same one."""
        if self.controller.battery.offered:
            self.controller.battery.unchanged()
            self.controller.news.say("the same battery: nothing was changed")

    def action_resistance(self) -> None:
        """Begin the test of the battery's resistance, or leave it."""
        from fieldtune.battery.resistance import TwoPulse

        battery = self.controller.battery
        battery.pulses = TwoPulse(self.controller.robot) if battery.pulses is None else None
        self._load = None

    def _load_simulated(self, pulses: TwoPulse | None) -> None:
        """The simulated robot takes the loads of the test by itself."""
        limits = self.controller.robot.setpoint
        if pulses is not None and pulses.step != self._load and self.controller.simulated:
            self._load = pulses.step
            small = self.controller.robot.launcher.mechanism.by_motion(lambda _: limits.low, lambda _: 0.0)
            value = limits.high if pulses.step == "large" else small
            self.controller.tell_simulator(f"setpoint={value:g}", None)

    def action_other_battery(self) -> None:
        """Give the simulated robot another battery."""
        self.controller.tell_simulator(
            "battery", "the simulated robot is off for a few seconds while its battery is changed"
        )

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """The simulated robot's battery can be changed only there."""
        if action == "other_battery":
            return self.controller.line.simulated is not False
        return super().check_action(action, parameters)

    async def _swap(self) -> None:
        try:
            await self._mark_and_guide()
        finally:
            self._marking = False

    async def _mark_and_guide(self) -> None:
        from fieldtune.battery.change import Recalibration

        controller, session, name = self.controller, self.controller.session, self.controller.shooting.target.name
        volts = controller.shooting.battery_v if controller.robot.setpoint.scale.follows_voltage else None
        planned = await controller.background.ask("The next shot", session.next, name)
        now = controller.shooting.distance
        distance = planned.distance_m if planned is not None else (now.value_m if now else None)
        before = None if distance is None else await self._outlook("The setpoint before", distance, volts)
        watch = controller.battery.watch
        before_ohm = None if watch is None else watch.resistance_measured
        epoch = await controller.background.ask_log("Marking the change", session.swap, self.label)
        if epoch is None:
            return
        controller.news.say(f"confirmed: battery changed, battery period {epoch} begins")
        controller.battery.changed()
        controller.recorder.relearn()
        self._lesson = None
        guided, live = Recalibration(controller.robot, watch, before, before_ohm), controller.shooting.live
        if live.state in ("off", "ended") or (live.state == "live" and live.wheel_rpm is None):
            guided.skip_spin()
        controller.battery.guided = guided

    async def _outlook(self, what: str, distance_m: float, volts: float | None) -> Outlook | None:
        from fieldtune.battery.change import Outlook

        controller = self.controller
        aim = await controller.background.ask(
            what, controller.session.aim, distance_m, volts, controller.shooting.target.name
        )
        return None if aim is None else Outlook(distance_m, aim.setpoint.value, aim.hit_probability, volts)

    def _to_shooting(self) -> None:
        self._lesson = -1
        if self.guided is not None and self.guided.before is not None:
            self.controller.shoot_from(
                Distance(round(self.guided.before.distance_m, 2), "step", "to learn what the new battery does")
            )

    async def _compare(self) -> None:
        guided, session = self.guided, self.controller.session
        if guided is None:
            return
        was, now = guided.before, None
        if was is not None:
            now = await self._outlook("The setpoint now", was.distance_m, was.volts)
        shots = await self.controller.background.ask_log("Reading the log", session.log.shots) or ()
        guided.learned(sum(shot.counts and shot.epoch == session.log.epoch for shot in shots), now)

    def _change(self, live: Live) -> list[Part]:
        offered = self.controller.battery.offered
        if self._marking:
            return [("Marking the change…", "$quiet")]
        if self.controller.battery.pulses is not None:
            return battery_words.test(self.controller.battery.pulses)
        if offered is not None:
            return battery_words.offer(offered, self.label)
        if self.guided is None:
            return battery_words.plan(self.label, self.controller.simulated)
        return battery_words.guidance(self.guided, live)
