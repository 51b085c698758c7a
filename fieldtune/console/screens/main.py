"""The main screen: its keys, and the frame around its body."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune.console import keys, main_words
from fieldtune.console.line_opening import UnopenedLine
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.typed import Distance, Labels, expected_distance, read_distance, read_labels
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import KeyBar, Part, TextBlock
from fieldtune.person_units import unit, us

if TYPE_CHECKING:
    from fieldtune.console.screens.main_body import MainBody
    from fieldtune.link.samples import Live


class LabelledScreen(ConsoleScreen):
    """A screen on which the shots to come get their labels."""

    BINDINGS: ClassVar[list[BindingType]] = [keys.LABELS]

    def action_label(self) -> None:
        """Name the match and the batch of the shots to come."""
        state = self.controller.shooting
        now = ", ".join(label or "" for label in state.labels).rstrip(", ")
        asked: EntryLine[Labels] = EntryLine(
            "Match and batch of elements of the shots to come", read_labels, "Q3, red; - for none", now
        )
        self.app.push_screen(asked, self._take_labels)

    def _take_labels(self, labels: Labels | None) -> None:
        if labels is not None:
            self.controller.shooting.labels = labels
            self.controller.news.say(f"shots to come: {labels.words or 'no labels'}")


class ShootingScreen(LabelledScreen):
    """A screen whose keys say from where and at what one shoots."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.DISTANCES, *keys.SIMULATED]

    def action_distance(self) -> None:
        """Type a distance or a spot's name."""
        robot = self.controller.robot
        self.app.push_screen(
            EntryLine(
                "Distance to the target",
                lambda text: read_distance(text, robot),
                f"{unit('m')} if no unit; {expected_distance()}",
            ),
            self._take_distance,
        )

    def _take_distance(self, distance: Distance | None) -> None:
        if distance is not None:
            self.controller.shoot_from(distance)

    def action_spot(self, number: int) -> None:
        """Shoot from a named spot."""
        spots = self.controller.robot.spots
        if number <= len(spots):
            spot = spots[number - 1]
            self.controller.shoot_from(Distance(spot.distance, "spot", spot.name))
        else:
            self.controller.news.say(
                f"this robot's profile names {len(spots) or 'no'} spots: press d and type the distance", bad=True
            )

    def action_step(self, steps: int) -> None:
        """Nearer or further by a little."""
        self.controller.shooting.step(steps * (0.0508 if us() else 0.05))
        self.show_distance()
        self.controller.advisor.ask_if_changed()

    def action_target(self) -> None:
        """The robot's next target."""
        self.controller.next_target()

    def show_distance(self) -> None:
        """The distance has just been changed by a key."""
        self.controller.show()


class MainScreen(ShootingScreen):
    """Everything a shot needs on one screen."""

    def __init__(self) -> None:
        super().__init__()
        self.body: MainBody | None = None

    def compose_body(self) -> ComposeResult:
        yield TextBlock(id="opening")

    def key_rows(self) -> list[list[Binding]]:
        robot = self.controller.robot
        distances = [keys.DISTANCES[0], *keys.spots_shown(len(robot.spots)), *keys.targets_shown(len(robot.targets))]
        distances += keys.SIMULATED if self.controller.simulated else []
        always = [key for key in keys.ALWAYS if key.show]
        return [keys.RESULTS, [*distances, *keys.VIEWS, *keys.ROBOTS, *always]]

    async def show_body(self, body: MainBody) -> None:
        """Put the body where the words of the opening stood."""
        with self.app.batch_update():
            await self.query_one("#body").mount(body)
            self.body = body
            await self.query_one("#opening").remove()
        self.query_one(KeyBar).put(self.key_rows())

    def tick(self, live: Live) -> None:
        """The frame, and in it the body or the words that stand there until it is brought in."""
        super().tick(live)
        if self.body is not None:
            self.body.tick(live)
        else:
            self.query_one("#opening", TextBlock).put(*self._opening())

    def _opening(self) -> list[Part]:
        rows, width = main_words.caution_rows(self.size.height), self.size.width - 2
        unopened = isinstance(self.controller.line, UnopenedLine)
        return main_words.opening(self.controller.shooting, unopened, rows, width)

    def show_distance(self) -> None:
        """What depends on the distance alone, at once."""
        if self.body is not None:
            self.body.show_distance()
