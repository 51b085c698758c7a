"""The main screen: its keys, and the frame around its middle."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune.console import keys
from fieldtune.console.screens import main_words
from fieldtune.console.screens.result_keys import Resulting
from fieldtune.console.shooting_state import Place, read_distance
from fieldtune.console.widgets.entry_line import Entry
from fieldtune.console.widgets.text_line import KeyBar, Plate
from fieldtune.errors import FieldtuneError

if TYPE_CHECKING:
    from fieldtune.console.screens.main_body import Middle
    from fieldtune.link.snapshot import Live


class MainScreen(Resulting):
    """Everything a shot needs on one screen."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.RESULTS, *keys.PLACES, *keys.SIMULATED]

    def __init__(self) -> None:
        super().__init__()
        self.middle: Middle | None = None

    def compose_body(self) -> ComposeResult:
        yield Plate(id="opening")

    def key_rows(self) -> list[list[Binding]]:
        robot = self.console.robot
        places = [keys.PLACES[0], *keys.spots_shown(len(robot.spots)), *keys.targets_shown(len(robot.targets))]
        places += keys.SIMULATED if self.console.sim else []
        always = [key for key in keys.ALWAYS if key.show]
        return [keys.RESULTS, [*places, *keys.VIEWS, *always]]

    async def furnish(self, middle: Middle) -> None:
        """Put the middle where the words of the opening stood."""
        with self.app.batch_update():
            await self.query_one("#body").mount(middle)
            self.middle = middle
            await self.query_one("#opening").remove()
        self.query_one(KeyBar).put(self.key_rows())

    def tick(self, live: Live) -> None:
        """The frame, and in it the middle or the words that stand there until it is brought in."""
        super().tick(live)
        if self.middle is not None:
            self.middle.tick(live)
        else:
            self.query_one("#opening", Plate).put(*main_words.opening(self.console.desk))

    # what the keys do

    def action_distance(self) -> None:
        """Type a distance or a spot's name."""
        robot = self.console.robot
        self.app.push_screen(
            Entry(
                "Distance to the target", lambda text: read_distance(text, robot), "m if no unit: 3.2 m, 10 ft, a spot"
            ),
            self._go,
        )

    def _go(self, place: Place | None) -> None:
        if place is not None:
            self.console.go(place)

    def action_spot(self, number: int) -> None:
        """Shoot from a named spot."""
        spots = self.console.robot.spots
        if number <= len(spots):
            spot = spots[number - 1]
            self.console.go(Place(spot.distance, "spot", spot.name))
        else:
            self.console.say(
                f"this robot's profile names {len(spots) or 'no'} spots: press d and type the distance", bad=True
            )

    def action_follow(self) -> None:
        """Use the robot's own distance reading."""
        try:
            self.console.desk.follow(self.console.live)
        except FieldtuneError as error:
            self.console.say(str(error), bad=True)

    def action_step(self, by_m: float) -> None:
        """Nearer or further by a little."""
        self.console.desk.step(by_m)
        if self.middle is not None:
            self.middle.place()
        self.console.advisor.moved()

    def action_target(self) -> None:
        """The robot's next target."""
        self.console.next_target()
