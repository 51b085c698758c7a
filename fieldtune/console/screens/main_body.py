"""The body of the main screen: the path, the setpoint to use, the last shots, and what to do now."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from textual.app import ComposeResult

from fieldtune.console import main_words, words
from fieldtune.console.battery_pictures import BatteryPictures
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.screens.essentials import RESULT_KEYS, asking
from fieldtune.console.screens.wheel import Trace
from fieldtune.console.widgets.pictures import Pictures
from fieldtune.console.widgets.readout import BigNumber, Gauge
from fieldtune.console.widgets.text_block import Columns, Part, Rows, TextBlock
from fieldtune.person_units import amount
from fieldtune.records import Shot
from fieldtune.scene import GOOD_CHANCE, Scene, scene

if TYPE_CHECKING:
    from fieldtune.aim.results import ArcPicture
    from fieldtune.charts.chart import Chart
    from fieldtune.console.controller import Controller
    from fieldtune.link.samples import Live

_BESIDE, _BESIDE_S = (110, 30), 10.0
"""Room (columns, rows) from which map and wheel stand below the path, and the wheel's time."""
_SIDE_ROWS = 10
"""Rows from which the battery's voltage stands below the figures."""
_SAME_PLACE_M = 0.05
"""How far from here the last shot may have been for its path to be drawn."""
STALE_S = 2.0
"""Older readings of the distance are shown with their age."""


class MainBody(Rows):
    """Everything a shot needs. It draws with arrays, so it is imported behind the first frame (``app``)."""

    def __init__(self) -> None:
        super().__init__()
        self._last_scene: Scene | None = None
        self._last_paths: tuple[object, object, object] = (None, None, None)
        self._trace: Trace | None = None
        self._battery: BatteryPictures | None = None
        self._ghost_of: str | None = None
        self._ghost: ArcPicture | None = None
        self._last_rest: object = None

    @property
    def controller(self) -> Controller:
        """What all screens share."""
        return cast(ConsoleScreen, self.screen).controller

    def compose(self) -> ComposeResult:
        with Columns(id="main-body"):
            yield Pictures(id="path", lead=True)
            with Rows(id="main-text"):
                yield TextBlock(id="distance")
                yield TextBlock(id="spots")
                yield TextBlock(id="set-words")
                yield BigNumber(id="big")
                yield Gauge(id="range-gauge")
                yield TextBlock(id="range")
                yield TextBlock(id="readback")
                yield TextBlock(id="chance")
                yield Gauge(id="chance-gauge")
                yield TextBlock(id="chance-now")
                yield TextBlock(id="battery")
                yield TextBlock(id="figures")
                yield Pictures(id="side")
        yield TextBlock(id="cautions")
        yield TextBlock(id="shots")
        yield TextBlock(id="todo")

    def tick(self, live: Live) -> None:
        """Words that answer a key change at once; the picture and what follows the wheel, at the next look."""
        controller = self.controller
        shooting, robot = controller.shooting, controller.robot
        self.show_distance()
        self.query_one("#shots", TextBlock).put(*self._shots(controller.recorder.shots))
        if controller.looking or shooting.unanswered or shooting.answer or controller.recorder.writing:
            self.query_one("#todo", TextBlock).put((f" ▶  {self._todo(live)}", "bold $act-ink"))
        if controller.looking:
            self._spots()
            self._setpoint(live)
            self._chance()
            self.query_one("#battery", TextBlock).put(*main_words.battery(live, shooting, robot))
            self.query_one("#figures", TextBlock).put(
                *main_words.figures(shooting.aim, self.query_one("#figures").size.width)
            )
            rows = main_words.caution_rows(self.screen.size.height)
            guard = controller.encoder
            offered = () if shooting.offer is None else (shooting.offer,)
            scale = () if guard is None or guard.caution is None else (guard.caution,)
            jam = () if live.wheel.jam_a is None else (main_words.jam(live.wheel.jam_a),)
            first = (*jam, *offered, *scale, *controller.old_values, *controller.battery.cautions)
            said = main_words.cautions(shooting.aim, first, rows, self.size.width - 2)
            self.query_one("#cautions", TextBlock).put(*said)
            self._look_back()
            side = self.query_one("#side", Pictures)
            if side.size.height >= _SIDE_ROWS:
                if self._battery is None:
                    self._battery = BatteryPictures(controller)
                side.show(self._battery.charts()[0])
            self.query_one("#path", Pictures).show(self._scene(), *self._beside(live))

    def _beside(self, live: Live) -> tuple[Chart | None, ...]:
        """Map and wheel, where there is room for them."""
        controller, size = self.controller, self.query_one("#path", Pictures).size
        if size.width < _BESIDE[0] or size.height < _BESIDE[1]:
            return ()
        controller.robot_map.look()
        if self._trace is None:
            self._trace = Trace(controller)
        return controller.robot_map.chart(), self._trace.chart(live, _BESIDE_S)

    def _look_back(self) -> None:
        """The path of the last shot, where it was taken from here."""
        state, shots = self.controller.shooting, self.controller.recorder.shots
        last = next((shot for shot in reversed(shots) if shot.counts), None)
        here = state.distance is not None and last is not None
        if last is None or state.distance is None or abs(last.distance_m - state.distance.value_m) > _SAME_PLACE_M:
            here = False
        wanted = last.uid if last is not None and here and last.target in (None, state.target.name) else None
        if wanted != self._ghost_of:
            self._ghost_of, self._ghost = wanted, None
            if last is not None and wanted is not None:
                self.controller.background.begin("ghost", self._draw_ghost, last)

    async def _draw_ghost(self, shot: Shot) -> None:
        controller = self.controller
        fired = shot.speed if shot.speed and controller.robot.setpoint.unit in ("rpm", "mm") else shot.setpoint
        picture = controller.session.picture
        self._ghost = await controller.background.ask(
            "The last path", picture, shot.distance_m, fired, shot.battery_v, shot.target, shot.hood_deg
        )

    def _scene(self) -> Scene:
        """The same scene object as long as nothing moved, so that nothing is drawn again."""
        controller, state = self.controller, self.controller.shooting
        distance = None if state.distance is None else state.distance.value_m
        flown, chance = controller.flown(), state.aim.hit_probability if state.aim is not None else None
        target, picture, now = state.target, controller.advisor.picture, controller.advisor.picture_now
        paths, rest = (picture, now, self._ghost), (target.name, distance, flown, chance)
        same = all(one is other for one, other in zip(paths, self._last_paths, strict=True)) and rest == self._last_rest
        if self._last_scene is None or not same:
            self._last_scene = scene(
                controller.robot, target, distance, picture, now, flown, chance=chance, ghost=self._ghost
            )
            self._last_paths, self._last_rest = paths, rest
        return self._last_scene

    def _todo(self, live: Live) -> str:
        controller, shooting, robot = self.controller, self.controller.shooting, self.controller.robot
        said = asking(controller)
        if not said:
            return main_words.next_step(live, shooting, robot, controller.simulated, bool(controller.recorder.writing))
        asked = shooting.asked_about()
        if shooting.answer is not None or len(asked) != 1:
            return said
        shot = asked[0]
        knew = main_words.left_at(shot.speed, robot) + ([words.volts(shot.battery_v)] if shot.battery_v else [])
        first = "  ".join([said, ", ".join(knew)])
        first = first if len(first) + 5 <= self.size.width else words.shorten(said, self.size.width - 5)
        return f"{first}\n    {RESULT_KEYS}   x no shot"

    def show_distance(self) -> None:
        """Where the shot is taken from; what the robot reads, where that is somewhere else; where to drive."""
        shooting = self.controller.shooting
        distance, old, other = shooting.distance, shooting.reading_age_s, shooting.reading_apart_m
        if distance is None:
            self.query_one("#distance", TextBlock).put(("Distance unknown", "bold $ink"), (": press d", "$act"))
            return
        stale = old is not None and old > STALE_S
        parts: list[Part] = [("From ", "$quiet"), (words.metres(distance.value_m), "$rule" if stale else "bold $ink")]
        parts.append((f"  {distance.words}", "$quiet"))
        if old is not None and stale:
            parts.append((f", {words.age(old)}", "$rule"))
        if other is not None:
            parts.append((f"\nrobot reads {words.metres(other)}: 0 follows it", "bold $bad"))
        drive = shooting.suggestion
        if drive is not None and abs(drive.value_m - distance.value_m) >= 0.02:
            by = distance.value_m - drive.value_m
            where = "nearer" if by > 0 else "further away"
            parts.append(
                (
                    f"\nDrive {amount(100 * abs(by), 'cm', 0)} {where}, to {words.metres(drive.value_m)}",
                    "bold $act",
                )
            )
        self.query_one("#distance", TextBlock).put(*parts)

    def _spots(self) -> None:
        """The named spots with their keys, where there is room."""
        text, spots = self.query_one("#spots", TextBlock), self.controller.robot.spots[:9]
        text.display = bool(spots) and self.screen.size.height >= 30
        named = [f"{n} {spot.name}" for n, spot in enumerate(spots, 1)]
        text.put((words.rows(named, text.size.width or self.query_one("#distance").size.width), "$quiet"))

    def _setpoint(self, live: Live) -> None:
        shooting, robot = self.controller.shooting, self.controller.robot
        aim = shooting.aim
        stale = shooting.aim is not None and not shooting.aim_holds
        later = [("   working it out…", "$quiet")] if stale else []
        self.query_one("#set-words", TextBlock).put(*main_words.order(aim, robot), *later)
        self.query_one("#big").set_class(stale, "-stale")
        self.query_one("#range", TextBlock).put(main_words.good_range(aim, robot))
        big = self.query_one("#big", BigNumber)
        big.put(
            words.number(shooting.recommended, robot), robot.setpoint.unit if shooting.recommended is not None else ""
        )
        self.query_one("#readback", TextBlock).put(*main_words.readback(live, shooting, robot))
        gauge = self.query_one("#range-gauge", Gauge)
        if aim is None or aim.setpoint.value is None or aim.setpoint.low is None or aim.setpoint.high is None:
            gauge.put(None)
            return
        wide = max(aim.setpoint.high - aim.setpoint.low, 4 * robot.setpoint.step)
        span = (aim.setpoint.low - 1.5 * wide, aim.setpoint.high + 1.5 * wide)
        gauge.put(span, aim.setpoint.low, aim.setpoint.high, aim.setpoint.value, words.readback(live, robot))

    def _chance(self) -> None:
        aim = self.controller.shooting.aim
        self.query_one("#chance", TextBlock).put(*main_words.chance(aim))
        gauge = self.query_one("#chance-gauge", Gauge)
        if aim is None or aim.hit_probability is None:
            gauge.put(None)
        else:
            low, high = aim.hit_probability_90 or (None, None)
            # A wide interval isn't good news: it is green only where all of it is worth shooting for.
            gauge.put((0.0, 1.0), low, high, aim.hit_probability, good=low is not None and low >= GOOD_CHANCE)
        now = self.query_one("#chance-now", TextBlock)
        now.put(*main_words.chance_now(self.controller.advisor.chance_now, self.controller.robot))
        now.display = bool(now.plain) and self.screen.size.height >= 36

    def _shots(self, shots: tuple[Shot, ...]) -> list[Part]:
        text = self.query_one("#shots")
        robot, room = self.controller.robot, max(1, text.size.height)
        if not shots:
            return [("No shots confirmed yet. After a shot press i, s, l, ← or → for where it went.", "$quiet")]
        if room > 3:
            return main_words.shot_rows(shots, robot, room)
        return main_words.shot_chips(shots, robot, text.size.width, room)
