"""The middle of the main screen: the arc, the setpoint to use, the last shots, and what to do now."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from textual.app import ComposeResult

from fieldtune.console import words
from fieldtune.console.screens import main_words
from fieldtune.console.widgets.path_view import ArcView
from fieldtune.console.widgets.side_view import Scene
from fieldtune.console.widgets.text_line import BigNumber, Columns, Gauge, Part, Plate, Rows
from fieldtune.records import Shot

if TYPE_CHECKING:
    from fieldtune.console.controller import Stage
    from fieldtune.link.snapshot import Live


class Middle(Rows):
    """Everything a shot needs. It draws with arrays, so it is imported behind the first frame (``app``)."""

    def __init__(self) -> None:
        super().__init__()
        self._last_scene: Scene | None = None

    @property
    def console(self) -> Stage:
        """The running console."""
        return cast("Stage", self.app)

    def compose(self) -> ComposeResult:
        with Columns(id="middle"):
            yield ArcView(id="arc")
            with Rows(id="plates"):
                yield Plate(id="place")
                yield Plate(id="spots")
                yield Plate(id="set-words")
                yield BigNumber(id="big")
                yield Gauge(id="window-gauge")
                yield Plate(id="window")
                yield Plate(id="readback")
                yield Plate(id="chance")
                yield Gauge(id="chance-gauge")
                yield Plate(id="chance-now")
                yield Plate(id="battery")
                yield Plate(id="figures")
        yield Plate(id="cautions")
        yield Plate(id="shots")
        yield Plate(id="todo")

    def tick(self, live: Live) -> None:
        """Words that answer a key change at once; the picture and what follows the wheel, at the next look."""
        console = self.console
        desk, robot = console.desk, console.robot
        self.place()
        self.query_one("#shots", Plate).put(*self._shots(console.book.shots))
        if console.looking or desk.waiting or console.book.keeping:
            self.query_one("#todo", Plate).put(*main_words.todo(live, desk, robot, console.sim, console.book.keeping))
        if console.looking:
            self._spots()
            self._setpoint(live)
            self._chance()
            self.query_one("#battery", Plate).put(*main_words.battery(live, desk, robot))
            self.query_one("#figures", Plate).put(*main_words.figures(desk.aim, self.query_one("#figures").size.width))
            rows = 3 if self.screen.size.height >= 36 else 1
            said = main_words.cautions(desk.aim, console.pack.cautions, rows, self.size.width - 2)
            self.query_one("#cautions", Plate).put(*said)
            self.query_one("#arc", ArcView).show(self._scene())

    def _scene(self) -> Scene:
        """The same scene object as long as nothing moved, so that nothing is drawn again."""
        console = self.console
        distance = None if console.desk.place is None else console.desk.place.distance_m
        flown = console.flown()
        old = self._last_scene
        new = Scene(
            console.robot, console.desk.target, distance, console.advisor.picture, console.advisor.picture_now, flown
        )
        if (
            old is not None
            and all(getattr(old, name) is getattr(new, name) for name in ("target", "picture", "now"))
            and (old.distance_m, old.flown) == (new.distance_m, new.flown)
        ):
            return old
        self._last_scene = new
        return new

    def place(self) -> None:
        """Where the shot is taken from."""
        place = self.console.desk.place
        if place is None:
            self.query_one("#place", Plate).put(("Distance unknown", "bold $ink"), (": press d", "$act"))
            return
        parts: list[Part] = [("From ", "$quiet"), (words.metres(place.distance_m), "bold $ink")]
        parts.append((f"  {place.words}", "$quiet"))
        self.query_one("#place", Plate).put(*parts)

    def _spots(self) -> None:
        """The named spots with their keys, where there is room."""
        plate, spots = self.query_one("#spots", Plate), self.console.robot.spots[:9]
        plate.display = bool(spots) and self.screen.size.height >= 30
        named = [f"{n} {spot.name}" for n, spot in enumerate(spots, 1)]
        plate.put((words.rows(named, plate.size.width or self.query_one("#place").size.width), "$quiet"))

    def _setpoint(self, live: Live) -> None:
        desk, robot = self.console.desk, self.console.robot
        aim = desk.aim
        window = ""
        if aim is not None and aim.setpoint.low is not None and aim.setpoint.high is not None:
            window = f"Good: {words.number(aim.setpoint.low, robot)} to {words.setpoint(aim.setpoint.high, robot)}"
        stale = desk.aim is not None and not desk.aim_holds
        later = [("   working it out…", "$quiet")] if stale else []
        self.query_one("#set-words", Plate).put((words.order(robot), "bold $act"), *later)
        self.query_one("#big").set_class(stale, "-stale")
        self.query_one("#window", Plate).put((window, "$quiet"))
        big = self.query_one("#big", BigNumber)
        big.put(words.number(desk.advised, robot), robot.setpoint.unit if desk.advised is not None else "")
        self.query_one("#readback", Plate).put(*main_words.readback(live, desk, robot))
        gauge = self.query_one("#window-gauge", Gauge)
        if aim is None or aim.setpoint.value is None or aim.setpoint.low is None or aim.setpoint.high is None:
            gauge.put(None)
            return
        wide = max(aim.setpoint.high - aim.setpoint.low, 4 * robot.setpoint.step)
        span = (aim.setpoint.low - 1.5 * wide, aim.setpoint.high + 1.5 * wide)
        gauge.put(span, aim.setpoint.low, aim.setpoint.high, aim.setpoint.value, words.readback(live, robot))

    def _chance(self) -> None:
        aim = self.console.desk.aim
        self.query_one("#chance", Plate).put(*main_words.chance(aim))
        gauge = self.query_one("#chance-gauge", Gauge)
        if aim is None or aim.hit_probability is None:
            gauge.put(None)
        else:
            low, high = aim.hit_probability_90 or (None, None)
            gauge.put((0.0, 1.0), low, high, aim.hit_probability)
        now = self.query_one("#chance-now", Plate)
        now.put(*main_words.chance_now(self.console.advisor.chance_now, self.console.robot))
        now.display = bool(now.plain) and self.screen.size.height >= 36

    def _shots(self, shots: tuple[Shot, ...]) -> list[Part]:
        plate = self.query_one("#shots")
        robot, room = self.console.robot, max(1, plate.size.height)
        if not shots:
            return [("No shots kept yet. After a shot press i, s, l, ← or → for where it went.", "$quiet")]
        if room > 3:
            return main_words.shot_rows(shots, robot, room)
        return main_words.shot_chips(shots, robot, plate.size.width, room)
