"""The battery: what it holds now, and the guided change of it, which takes a minute and one or two shots.

A newcomer's question: "will this battery last the match, and what did the new one change?" The voltage's band meets the
dotted line where it is too low; the two bars are the setpoint before and after.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune.console import keys, main_words, words
from fieldtune.console.battery_pictures import BatteryPictures
from fieldtune.console.screens import battery_words
from fieldtune.console.screens.base import USUAL_WIDTH
from fieldtune.console.screens.pictured import PicturedScreen, scroll_keys, turn_key
from fieldtune.console.typed import Distance
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.shot_entry import check_words

if TYPE_CHECKING:
    from fieldtune.battery.change import Outlook, Recalibration
    from fieldtune.battery.resistance import TwoPulse
    from fieldtune.charts.chart import Chart
    from fieldtune.link.samples import Live
    from fieldtune.records import BatteryReading
    from fieldtune.session import Session
    from fieldtune.store import Store


def read_label(text: str) -> str:
    """A typed name or number of a battery; raises ``InputError``."""
    return check_words("a label", text, 40)


def read_known(text: str, known: tuple[str, ...]) -> str:
    """A typed name, or the number of one of the ``known`` ones; raises ``InputError``."""
    label = read_label(text)
    number = int(label) if label.isdecimal() and label not in known else 0
    return known[number - 1] if 1 <= number <= len(known) else label


def names(log: Store) -> tuple[str, ...]:
    """Names of the batteries that were in, the latest first."""
    labels = [*(reading.label for reading in log.batteries()), *(epoch.label for epoch in log.epochs())]
    return tuple(dict.fromkeys(label for label in reversed(labels) if label))[:9]


class BatteryScreen(PicturedScreen):
    """The session's voltage and current, the battery's state, and the guided change."""

    TITLE_WORDS = "Battery"
    WORDS_FIRST = True
    OWN: ClassVar[list[Binding]] = [
        Binding("enter", "go_on", "Go on", tooltip="The battery is changed, or on to the next step",
                id="battery-go-on", key_display="Enter"),
        Binding("backspace", "back", "Back a step", id="battery-back", key_display="Bksp",
                tooltip="A step back: no other battery is in, or the change is undone"),
        Binding("a", "label", "Name", tooltip="Type the name or number written on the battery", id="battery-label"),
        Binding("o", "resistance", "Resistance", tooltip="Measure the battery's resistance by a small and a large load",
                id="battery-resistance"),
        turn_key("battery"),
        *scroll_keys("battery"),
    ]  # fmt: skip
    SIM: ClassVar[list[Binding]] = [
        Binding("p", "other_battery", "Other battery (sim)", tooltip="Give the simulated robot another battery",
                id="battery-other"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN, *keys.SIMULATED, *SIM]

    def __init__(self) -> None:
        super().__init__()
        self.label: str | None = None
        self._marking = False
        self._doubt: str | None = None
        self._before: Outlook | None = None
        self._lesson: int | None = None
        self._read_at = 0
        self._load: str | None = None
        self._history: tuple[BatteryReading, ...] = ()
        self._charts: BatteryPictures | None = None
        self._level: tuple[object, Chart | None] = (None, None)

    def compose_body(self) -> ComposeResult:
        yield from super().compose_body()
        yield TextBlock(id="todo")

    def compose_words(self) -> ComposeResult:
        yield TextBlock(id="battery-change")
        yield TextBlock(id="battery-now")

    def key_rows(self) -> list[list[Binding]]:
        sim = [*keys.SIMULATED, *self.SIM] if self.controller.simulated else []
        return [keys.RESULTS, [*self.OWN, *sim, *keys.VIEWS, *keys.ALWAYS]]

    def on_mount(self) -> None:
        """Read what was measured of earlier batteries (the screen's own mounting runs as well)."""
        self.controller.background.begin("battery history", self._read_history)
        if self.guided is None:
            self.controller.background.begin("battery before", self._look_ahead)

    async def _read_history(self) -> None:
        log = self.controller.session.log
        self._history = await self.controller.background.ask_log("Reading the batteries", log.batteries) or ()

    async def _look_ahead(self) -> None:
        """What is recommended with the battery that is still in, where the first shots with the next one should be."""
        controller, state = self.controller, self.controller.shooting
        planned = await controller.background.ask("The next shot", controller.session.next, state.target.name)
        here = None if state.distance is None else state.distance.value_m
        distance = here if planned is None else planned.distance_m
        if distance is not None:
            volts = state.battery_v if controller.robot.setpoint.scale.follows_voltage else None
            self._before = await self._outlook("The setpoint before", distance, volts)

    @property
    def guided(self) -> Recalibration | None:
        """The recalibration under way or just done; it goes on where it was when this view is opened again."""
        return self.controller.battery.guided

    def tick(self, live: Live) -> None:
        super().tick(live)
        controller, battery, state = self.controller, self.controller.battery, self.controller.shooting
        guided, robot = self.guided, controller.robot
        shooting = guided is not None and guided.step == "shoot"
        if shooting and self._lesson is None:
            self._to_shooting()
        if shooting and state.lesson != self._lesson:
            self._lesson = state.lesson
            controller.background.begin("battery", self._compare)
        if self._read_at != battery.kept:
            self._read_at = battery.kept
            controller.background.begin("battery history", self._read_history)
        self._load_simulated(battery.pulses)
        now = battery_words.now(live, state, robot, state.epoch, battery.status, self._history)
        steps, below = self._change(live), self.size.width < USUAL_WIDTH and guided is None
        self.query_one("#battery-now", TextBlock).put(*now, *(["\n\n", *steps] if below else []))
        change = self.query_one("#battery-change", TextBlock)
        change.put(*steps)
        change.display = not below
        self.show_pictures(*self._pictures())
        step = main_words.next_step(live, state, robot, controller.simulated, bool(controller.recorder.writing))
        todo = self.query_one("#todo", TextBlock)
        todo.put((f" ▶  {step}", "bold $act-ink") if shooting else "")
        todo.display = shooting

    def _pictures(self) -> tuple[Chart | None, ...]:
        """How the level moved with the new battery, and voltage and current."""
        from fieldtune.charts.history import level_chart

        guided = self.guided
        if guided is None or guided.before is None:
            self._level = (None, None)
        elif (known := (guided, guided.now, guided.taken)) != self._level[0]:
            self._level = known, level_chart(self.controller.robot, guided.before, guided.now, guided.taken)
        if self._charts is None:
            self._charts = BatteryPictures(self.controller)
        return (self._level[1], *self._charts.charts())

    # the steps

    def action_label(self) -> None:
        """Type the name or number written on the battery."""
        asked: EntryLine[str] = EntryLine(
            "Name or number written on the new battery?", read_label, "blue 3, or a number"
        )
        self.app.push_screen(asked, self._take_label)

    def switch(self) -> None:
        """Another battery is in: asks which one, known ones by a number, and begins its period."""
        self.controller.background.begin("battery names", self._ask_which)

    async def _ask_which(self) -> None:
        known = await self.controller.background.ask_log("The batteries", names, self.controller.session.log) or ()
        said = ", ".join(f"{number} {label}" for number, label in enumerate(known, 1))
        hint = f"{said}; or a new name" if known else "the name or number written on it"
        asked: EntryLine[str] = EntryLine("Which battery is in now?", lambda text: read_known(text, known), hint)
        self.app.push_screen(asked, self._switch_to)

    def _switch_to(self, label: str | None) -> None:
        if label is None:
            return
        if self.guided is not None:
            self._end()
        self.label = label
        self.action_go_on()

    def _take_label(self, label: str | None) -> None:
        if label is None:
            return
        self.label = label
        if self.guided is not None or self._marking:  # the change is in the log already: name the battery that is in
            log = self.controller.session.log
            said = f"the battery is called {label} now"
            self.controller.recorder.change(lambda _: said, lambda: log.label_battery(label))

    def action_go_on(self) -> None:
        """The next step."""
        guided, battery = self.guided, self.controller.battery
        if self._marking:
            self.controller.news.say("one moment: the change is being written")
        elif battery.pulses is not None:
            battery.pulses = None
        elif guided is None or battery.offered:
            self._doubt = None if battery.offered or self._doubt else self._what_speaks_against()
            if self._doubt is None:
                self._marking = True
                self.controller.recorder.swap(self.label, self._begin_guiding)
        elif guided.step == "spin":
            guided.skip_spin()
        elif guided.step == "shoot":
            guided.finish()
        else:
            self._end()
            self.dismiss()
        self.controller.show()

    def _what_speaks_against(self) -> str | None:
        """Why a change of battery is hard to believe; None where nothing speaks against it."""
        live, robot = self.controller.shooting.live, self.controller.robot
        if words.moving(live, robot):
            return f"The {words.what_turns(robot)} is still moving: stop it before anyone touches the battery"
        if live.state == "live" and live.battery_v is not None and self.controller.battery.status is not None:
            return f"The voltage is as it was, {words.volts(live.battery_v)}: is another battery in"
        return None

    def action_back(self) -> None:
        """A step back."""
        guided, battery, say = self.guided, self.controller.battery, self.controller.news.say
        if self._doubt is not None:
            self._doubt = None
            say("nothing was changed")
        elif battery.pulses is not None:
            battery.pulses = None
        elif battery.offered:
            battery.unchanged()
            say("the same battery: nothing was changed")
        elif guided is None:
            say("there is no step to go back")
        elif not guided.back():
            self._end()
            self.controller.recorder.undo_swap()
        self.controller.show()

    def _end(self) -> None:
        """The guided change is over: back to where one was."""
        self.controller.battery.guided = None
        self.controller.shooting.end_suggestion()
        self.controller.advisor.ask_if_changed()

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

    def _begin_guiding(self, epoch: int | None) -> None:
        """The change is in the log, or couldn't be written (None)."""
        from fieldtune.battery.change import Recalibration

        self._marking = False
        if epoch is None:
            return
        controller, battery, live = self.controller, self.controller.battery, self.controller.shooting.live
        before_ohm = None if battery.watch is None else battery.watch.resistance_measured
        battery.changed()
        self._lesson = None
        guided = Recalibration(controller.robot, battery.watch, self._before, before_ohm)
        if live.state in ("off", "ended") or (live.state == "live" and live.wheel_rpm is None):
            guided.skip_spin()
        battery.guided = guided

    async def _outlook(self, what: str, distance_m: float, volts: float | None) -> Outlook | None:
        controller = self.controller
        name = controller.shooting.target.name
        return await controller.background.ask(what, _outlook, controller.session, distance_m, volts, name)

    def _to_shooting(self) -> None:
        self._lesson = -1
        if self.guided is not None and self.guided.before is not None:
            at = round(self.guided.before.distance_m, 2)
            self.controller.suggest(Distance(at, "asked", "to learn what the new battery does"))

    async def _compare(self) -> None:
        guided, state = self.guided, self.controller.shooting
        if guided is None:
            return
        was, now = guided.before, None
        if was is not None:
            now = await self._outlook("The setpoint now", was.distance_m, was.volts)
        shots = self.controller.recorder.shots
        guided.learned(sum(shot.counts and shot.epoch == state.epoch for shot in shots), now)

    def _change(self, live: Live) -> list[Part]:
        battery = self.controller.battery
        if self._marking:
            return [("Writing the change…", "$quiet")]
        if battery.pulses is not None:
            return battery_words.test(battery.pulses)
        if self._doubt is not None:
            return battery_words.doubt(self._doubt)
        if battery.offered is not None:
            return battery_words.offer(battery.offered, self.label)
        if self.guided is None:
            return battery_words.plan(self.label, self.controller.simulated)
        return battery_words.guidance(self.guided, live)


def _outlook(session: Session, distance_m: float, volts: float | None, target: str | None) -> Outlook:
    from fieldtune.aim.recommend import needed_setpoint_90
    from fieldtune.battery.change import Outlook

    robot = session.robot
    aim = session.aim(distance_m, volts, target)
    sure = needed_setpoint_90(robot, robot.target(target), session.belief, distance_m, volts)
    return Outlook(distance_m, aim.setpoint.value, aim.hit_probability, volts, sure)
