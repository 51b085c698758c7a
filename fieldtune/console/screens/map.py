"""The map: setpoint over distance with hit chance, every shot, and where one stands.

A newcomer's question: "which setpoint from here, and how sure?" The cross is where the robot stands now; where its
dotted line meets the recommended line is the answer, and the tint there says how sure it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune.console import keys, words
from fieldtune.console.screens.main import ShootingScreen
from fieldtune.console.typed import Distance
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.pictures import Pictures
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.errors import InputError
from fieldtune.person_units import how_far

if TYPE_CHECKING:
    from fieldtune.link.samples import Live
    from fieldtune.robot.model import Robot


def read_point(text: str, robot: Robot) -> tuple[float, float]:
    """A typed point of the map, "2.85 m, 1470 rpm"; raises ``InputError``."""
    from fieldtune.console.screens.next import read_setpoint
    from fieldtune.console.typed import read_distance

    distance, comma, setpoint = text.partition(", ")
    if not comma:
        distance, comma, setpoint = text.partition(",")
    if not comma:
        raise InputError(f"write a distance and a setpoint: {how_far(2.85)}, {robot.setpoint.high:g}")
    return read_distance(distance, robot).value_m, read_setpoint(setpoint, robot)


class MapScreen(ShootingScreen):
    """Looks up any point; the keys of the main screen choose the distance here too."""

    TITLE_WORDS = "Map"
    OWN: ClassVar[list[Binding]] = [
        Binding("comma", "move(-1, 0)", "Read a point", key_display=", . ↑ ↓", id="map-nearer",
                tooltip="Move the reading point: nearer"),
        Binding("full_stop", "move(1, 0)", "Read a point", key_display=".", id="map-further", show=False,
                tooltip="Move the reading point: further away"),
        Binding("up", "move(0, 1)", "Read a point", key_display="↑", id="map-more", show=False,
                tooltip="Move the reading point: a larger setpoint"),
        Binding("down", "move(0, -1)", "Read a point", key_display="↓", id="map-less", show=False,
                tooltip="Move the reading point: a smaller setpoint"),
        Binding("enter", "go", "Shoot from there", key_display="Enter", id="map-go",
                tooltip="Use the point's distance, as the click of a mouse on it does"),
        Binding("p", "point", "Type a point", tooltip="What if: hit chance of any distance and setpoint",
                id="map-point"),
        Binding("o", "teaching", "Chance/next", id="map-teaching",
                tooltip="Tint: hit chance, or what a shot from there is expected to teach"),
        Binding("backspace", "here", "Back here", key_display="Bksp", id="map-here",
                tooltip="The reading point back to where the robot stands"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self.cursor: tuple[float, float] | None = None
        self._teaching = False

    def compose_body(self) -> ComposeResult:
        yield TextBlock(id="map-reading")
        yield Pictures(id="map")
        yield TextBlock(id="map-answer")

    def key_rows(self) -> list[list[Binding]]:
        distances = [keys.DISTANCES[0], *keys.spots_shown(len(self.controller.robot.spots))]
        return [keys.RESULTS, [*self.OWN, *distances, *keys.VIEWS, *keys.ALWAYS]]

    def tick(self, live: Live) -> None:
        super().tick(live)
        shown = self.controller.robot_map
        shown.look()
        self.query_one("#map", Pictures).show(shown.chart(self.cursor, self._teaching))
        self.query_one("#map-reading", TextBlock).put(*self._reading())
        self.query_one("#map-answer", TextBlock).put(*self._answer())

    def _answer(self) -> list[Part]:
        """Setpoint, good range and chance from here, in one line."""
        state, robot = self.controller.shooting, self.controller.robot
        aim = state.aim
        if state.distance is None:
            return [("Distance unknown: press d", "bold $act")]
        parts: list[Part] = [("From ", "$quiet"), (words.metres(state.distance.value_m), "bold $ink")]
        if aim is None or not state.aim_holds:
            return [*parts, ("  working out the setpoint…", "$quiet")]
        if aim.setpoint.value is None:
            return [*parts, ("  not reachable", "bold $bad")]
        parts += [(f"  {words.order(robot)} ", "$quiet"), (words.setpoint(aim.setpoint.value, robot), "bold $act")]
        parts += [("  chance ", "$quiet"), (words.percent(aim.hit_probability), "bold $ink")]
        parts.append((f", {words.interval(aim.hit_probability_90)}", "$quiet"))
        if aim.setpoint.low is not None and aim.setpoint.high is not None and self.size.width >= 100:
            good = f"  good range {words.number(aim.setpoint.low, robot)} to {words.number(aim.setpoint.high, robot)}"
            parts.append((good, "$quiet"))
        return parts

    def _reading(self) -> list[Part]:
        """The point that is read."""
        shown, robot = self.controller.robot_map, self.controller.robot
        if shown.field is None:
            return [(shown.failed or "working out the map…", "$quiet")]
        if self.cursor is None:
            return [("┼ ", "bold $act"), ("read any point: , . ↑ ↓ or the mouse; Enter or a click shoots from there",
                                          "$quiet")]  # fmt: skip
        distance, setpoint = self.cursor
        chance = shown.chance_at(distance, setpoint)
        said = words.percent(chance) if chance is not None else "not on the map"
        best = shown.recommended_at(distance)
        there = "" if best is None else f"   recommended there: {words.setpoint(best, robot)}"
        point = f"{words.metres(distance)}, {words.setpoint(setpoint, robot)}: "
        return [("┼ ", "bold $act"), (point, "$ink"), (said, "bold $ink"), (there, "$quiet")]

    # the point that is read

    def _start(self) -> tuple[float, float] | None:
        """Where the point begins: at the recommended setpoint from here, else in the middle of the map."""
        state, field = self.controller.shooting, self.controller.robot_map.field
        if field is None:
            return None
        low, high = field.bottom, field.top
        near, far = float(field.distance_m[0]), float(field.distance_m[-1])
        distance = state.distance.value_m if state.distance is not None else (near + far) / 2
        setpoint = state.recommended if state.recommended is not None else (low + high) / 2
        return min(far, max(near, distance)), min(high, max(low, setpoint))

    def action_move(self, across: int, up: int) -> None:
        """The point by 5 cm, or by a hundredth of the setpoints shown, in whole steps of the robot's."""
        field, at = self.controller.robot_map.field, self.cursor or self._start()
        if field is None or at is None:
            return
        step = self.controller.robot.setpoint.step
        low, high = field.bottom, field.top
        stride = max(1, round((high - low) / 60 / step)) * step
        distance = round((at[0] + 0.05 * across) / 0.05) * 0.05 if across else at[0]
        setpoint = round((at[1] + stride * up) / step) * step if up else at[1]
        near, far = float(field.distance_m[0]), float(field.distance_m[-1])
        self.cursor = min(far, max(near, distance)), min(high, max(low, setpoint))
        self.controller.show()

    def action_go(self) -> None:
        """Shoot from the point's distance."""
        if self.cursor is not None:
            self.controller.shoot_from(Distance(round(self.cursor[0], 2), "typed", "from the map"))
            self.controller.show()

    def action_here(self) -> None:
        """No point is read."""
        self.cursor = None
        self.controller.show()

    def action_teaching(self) -> None:
        """Another tint."""
        if not self._teaching and self.controller.robot_map.gain is None:
            self.controller.news.say("what a shot teaches is still being worked out")
            return
        self._teaching = not self._teaching
        self.controller.show()

    def action_point(self) -> None:
        """Type a point."""
        robot = self.controller.robot
        unit = robot.setpoint.unit
        asked: EntryLine[tuple[float, float]] = EntryLine(
            "What if? Distance and setpoint",
            lambda text: read_point(text, robot),
            f"{how_far(2.85)}, {robot.setpoint.high:g} {unit}",
        )
        self.app.push_screen(asked, self._take_point)

    def _take_point(self, point: tuple[float, float] | None) -> None:
        if point is not None:
            self.cursor = point
            self.controller.show()

    def on_pictures_pointed(self, event: Pictures.Pointed) -> None:
        """The mouse reads a point; a click shoots from there."""
        step = self.controller.robot.setpoint.step
        self.cursor = round(event.x / 0.01) * 0.01, round(event.y / step) * step
        if event.pressed:
            self.action_go()
        else:
            self.controller.show()
