"""The battery: what it holds now, and the guided change of it, which takes a minute and one or two shots."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from fieldtune.console import keys
from fieldtune.console.screens import battery_words, main_words
from fieldtune.console.screens.result_keys import Resulting
from fieldtune.console.shooting_state import Place
from fieldtune.console.widgets.entry_line import Entry
from fieldtune.console.widgets.text_line import Part, Plate
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.battery.change import Outlook, Recalibration
    from fieldtune.battery.resistance import TwoPulse
    from fieldtune.link.snapshot import Live
    from fieldtune.records import BatteryReading


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
        Binding("o", "same", "Same one", tooltip="The battery that was offered as changed is the old one",
                id="battery-same"),
        Binding("a", "label", "Name the battery", tooltip="Note what stands on the battery",
                id="battery-label"),
        Binding("r", "resistance", "Resistance", tooltip="Measure the battery's resistance by a small and a large load",
                id="battery-resistance"),
    ]  # fmt: skip
    SIM: ClassVar[list[Binding]] = [
        Binding("p", "other_pack", "Pack (sim)", tooltip="Give the simulated robot another battery",
                id="battery-other-pack"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN, *keys.RESULTS, *keys.SIMULATED, *SIM]

    def __init__(self) -> None:
        super().__init__()
        self.label: str | None = None
        self._marking = False
        self._lesson: int | None = None
        self._read_at = 0
        self._told: str | None = None
        self._history: tuple[BatteryReading, ...] = ()

    def compose_body(self) -> ComposeResult:
        with Horizontal(id="battery-body"):
            yield Plate(id="battery-now")
            yield Plate(id="battery-change")
        yield Plate(id="todo")

    def key_rows(self) -> list[list[Binding]]:
        sim = [*keys.SIMULATED, *self.SIM] if self.console.sim else []
        own = [key for key in self.OWN if key.action != "same" or self.console.pack.offered]
        return [keys.RESULTS, [*own, *sim, *keys.VIEWS, *keys.ALWAYS]]

    def on_mount(self) -> None:
        """Read what was measured of earlier batteries (the board's own mounting runs as well)."""
        self.console.begin("battery history", self._read_history)

    async def _read_history(self) -> None:
        history = await self.console.ask_log("Reading the batteries", self.console.session.log.batteries)
        self._history = history or ()

    @property
    def guided(self) -> Recalibration | None:
        """The recalibration under way or just done; it goes on where it was when this view is opened again."""
        return self.console.pack.guided

    def tick(self, live: Live) -> None:
        super().tick(live)
        console, guided = self.console, self.guided
        shooting = guided is not None and guided.step == "shoot"
        if shooting and self._lesson is None:
            self._to_shooting()
        if shooting and console.lesson != self._lesson:
            self._lesson = console.lesson
            console.begin("battery", self._compare)
        if self._read_at != console.pack.kept:
            self._read_at = console.pack.kept
            console.begin("battery history", self._read_history)
        self._load_simulated(console.pack.pulses)
        robot, keeping, pack = console.robot, console.book.keeping, console.pack
        now = battery_words.now(live, console.desk, robot, console.book.epoch, pack.status, self._history)
        self.query_one("#battery-now", Plate).put(*now)
        self.query_one("#battery-change", Plate).put(*self._change(live))
        self.query_one("#todo", Plate).put(
            *(main_words.todo(live, console.desk, robot, console.sim, keeping) if shooting else [""])
        )

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
        guided = self.guided
        if self._marking:
            return
        if guided is None or guided.step == "done" or self.console.pack.offered:
            self._marking = True
            self.console.begin("log", self._swap, exclusive=False)
        elif guided.step == "spin":
            guided.skip_spin()
        else:
            guided.finish()

    def action_same(self) -> None:
        """The battery that was offered as changed is the old one."""
        if self.console.pack.offered:
            self.console.pack.unchanged()
            self.console.say("kept: the same battery, nothing was marked")

    def action_resistance(self) -> None:
        """Begin the test of the battery's resistance, or leave it."""
        from fieldtune.battery.resistance import TwoPulse

        pack = self.console.pack
        pack.pulses = TwoPulse(self.console.robot) if pack.pulses is None else None
        self._told = None

    def _load_simulated(self, pulses: TwoPulse | None) -> None:
        """The simulated robot takes the loads of the test by itself."""
        limits = self.console.robot.setpoint
        if pulses is not None and pulses.step != self._told and self.console.sim:
            self._told = pulses.step
            wheel = self.console.robot.launcher.kind == "flywheel"
            value = limits.high if pulses.step == "large" else limits.low if wheel else 0.0
            self.console.tell_sim(f"setpoint={value:g}", None)

    def action_other_pack(self) -> None:
        """Give the simulated robot another battery."""
        self.console.tell_sim("battery", "the simulated robot is off for a few seconds while its battery is changed")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """The simulated robot's battery can be changed only there."""
        if action == "other_pack":
            return self.console.monitor.simulated is not False
        return super().check_action(action, parameters)

    async def _swap(self) -> None:
        try:
            await self._mark_and_guide()
        finally:
            self._marking = False

    async def _mark_and_guide(self) -> None:
        from fieldtune.battery.change import Recalibration

        console, session, name = self.console, self.console.session, self.console.desk.target.name
        volts = console.desk.battery_v if console.robot.setpoint.unit == "%" else None
        planned = await console.ask("The next shot", session.next, name)
        place = console.desk.place
        distance = planned.distance_m if planned is not None else (place.distance_m if place else None)
        before = None if distance is None else await self._outlook("The setpoint before", distance, volts)
        watch = console.pack.watch
        before_ohm = None if watch is None else watch.resistance_measured
        epoch = await console.ask_log("Marking the change", session.swap, self.label)
        if epoch is None:
            return
        console.say(f"kept: battery changed, epoch {epoch}")
        console.book.relearn()
        console.pack.changed()
        self._lesson = None
        guided, live = Recalibration(console.robot, watch, before, before_ohm), console.live
        if live.state in ("off", "ended") or (live.state == "live" and live.wheel_rpm is None):
            guided.skip_spin()
        console.pack.guided = guided

    async def _outlook(self, what: str, distance_m: float, volts: float | None) -> Outlook | None:
        from fieldtune.battery.change import Outlook

        console = self.console
        aim = await console.ask(what, console.session.aim, distance_m, volts, console.desk.target.name)
        return None if aim is None else Outlook(distance_m, aim.setpoint.value, aim.hit_probability, volts)

    def _to_shooting(self) -> None:
        self._lesson = -1
        if self.guided is not None and self.guided.before is not None:
            self.console.go(Place(round(self.guided.before.distance_m, 2), "step", "to find the new battery's level"))

    async def _compare(self) -> None:
        guided, session = self.guided, self.console.session
        if guided is None:
            return
        was, now = guided.before, None
        if was is not None:
            now = await self._outlook("The setpoint now", was.distance_m, was.volts)
        shots = await self.console.ask_log("Reading the log", session.log.shots) or ()
        guided.learned(sum(shot.counts and shot.epoch == session.log.epoch for shot in shots), now)

    def _change(self, live: Live) -> list[Part]:
        offered = self.console.pack.offered
        if self._marking:
            return [("Marking the change…", "$quiet")]
        if self.console.pack.pulses is not None:
            return battery_words.test(self.console.pack.pulses)
        if offered is not None:
            return battery_words.offer(offered, self.label)
        if self.guided is None:
            return battery_words.plan(self.label, self.console.sim)
        return battery_words.guidance(self.guided, live)
