"""The start screen: try the simulated robot, set up one's own, or open another from the list."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding
from textual.widgets import OptionList

from fieldtune.console import words
from fieldtune.console.screens.set_up_frame import ListScreen
from fieldtune.console.widgets.text_block import Part
from fieldtune.errors import FieldtuneError

if TYPE_CHECKING:
    from fieldtune.setup.robots_list import ListedRobot

_KEYS = [
    Binding(
        "enter", "choose", "Open", tooltip="Open what is marked", id="start-open", priority=True, key_display="Enter"
    ),
    Binding("s", "simulated", "Simulated", tooltip="Try the simulated robot", id="start-simulated"),
    Binding("n", "new", "New robot", tooltip="Set up my robot, question by question", id="start-new"),
    Binding("e", "edit", "Edit", tooltip="Change the values of the marked robot", id="start-edit"),
    Binding("c", "line", "Line", tooltip="Cable and port of the marked robot: whose name is whose", id="start-line"),
    Binding("u", "units", "Units", tooltip="Metric or US customary units, for all that is shown", id="start-units"),
    Binding("q", "app.leave", "Quit", tooltip="Leave", id="start-quit", key_display="q"),
]
_TWO = (("simulated", "Try the simulated robot"), ("new", "Set up my robot"))


class StartScreen(ListScreen):
    """The list of robots, with two rows above it."""

    OWN: ClassVar[list[list[Binding]]] = [_KEYS]

    def __init__(self) -> None:
        super().__init__()
        self.robots: tuple[ListedRobot, ...] = ()

    async def on_mount(self) -> None:
        """The list, and what the console was left for."""
        wish = self.start.wish
        await self.reload()
        self.say(wish.said)
        if wish.profile is not None:
            self._mark(wish.profile)

    async def reload(self) -> None:
        """Reads the list again, behind the screen."""
        from fieldtune.setup.robots_list import listed_robots

        try:
            self.robots = await asyncio.to_thread(listed_robots, self.start.home, _shots_in)
        except FieldtuneError as error:
            self.say(str(error), bad=True)
        self.show_rows()
        own = [row for row in self.robots if not row.demo]
        last = self.start.preferences.last
        if own:
            marked = next((row for row in own if str(row.path.resolve()) == last), own[0])
            self._mark(marked.path)

    def show_rows(self) -> None:
        """Fills the list."""
        units = "US customary units" if self.start.preferences.us else "metric units"
        home = words.shorten(str(self.start.home), max(10, self.size.width - 40))
        self.head("Robots", (f"  in {home}   {units}", "$quiet"))
        self.put_rows(
            [*((key, [text]) for key, text in _TWO), *((str(row.path), self._row(row)) for row in self.robots)]
        )

    def _row(self, row: ListedRobot) -> list[Part]:
        narrow = self.size.width < 70
        parts: list[Part] = [(f"{row.name:<12}", "bold $ink" if not row.demo else "$ink")]
        if row.fault is not None:
            return [*parts, (" ✗ " + words.printable(row.fault), "$bad")]
        if row.draft:
            return [*parts, (" … set-up left half-way: Enter goes on", "$act")]
        shots = "no shots" if not row.shots else words.counted(row.shots, "shot")
        used = "demonstration" if row.demo else "not used yet" if row.used is None else f"{row.used:%d %b %H:%M}"
        parts.append((f" {row.launcher:<9}", "$quiet"))
        if not narrow:
            doubts = "" if not row.doubts else f"  ! {words.counted(row.doubts, 'doubt')}"
            parts += [
                (f" {shots:<9} {used:<14}", "$quiet"),
                (f" {words.printable(row.title)}", "$ink"),
                (doubts, "$bad"),
            ]
        else:
            parts.append((f" {shots}", "$quiet"))
        return parts

    def _mark(self, profile: Path) -> None:
        for number, row in enumerate(self.robots):
            if row.path.stem == profile.stem and row.path.parent.resolve() == profile.parent.resolve():
                self.rows.highlighted = number + len(_TWO)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """What the marked row is, in a sentence."""
        row = self._marked()
        if row is None:
            about = {
                "simulated": "A demonstration robot, played by this program: nothing has to be connected.",
                "new": "Questions with a drawing each: what to measure, with ruler and scale. No file to edit.",
            }
            self.about((about.get(str(event.option.id), ""), "$quiet"))
        elif row.fault is not None:
            self.about((f"{row.path}: {row.fault}. ", "$bad"), ("e mends it, if the file can be read", "$quiet"))
        elif row.draft:
            self.about(("Enter goes on with its set-up where it was left.", "$quiet"))
        else:
            self.about((f"{row.path}", "$quiet"))

    def _marked(self) -> ListedRobot | None:
        place = -1 if self.marked is None else self.marked - len(_TWO)
        return self.robots[place] if 0 <= place < len(self.robots) else None

    # what the keys do

    def action_choose(self) -> None:
        """Opens what is marked."""
        row = self._marked()
        if row is None:
            (self.action_new if _TWO[self.marked or 0][0] == "new" else self.action_simulated)()
        elif row.draft:
            self._go_on(row.path)
        elif row.fault is not None:
            self.say(f"{row.name} can't be opened: {row.fault}", bad=True)
        else:
            self.start.open_robot(row.path, f"sim://{row.path}" if row.demo else None)

    def action_simulated(self) -> None:
        """The marked robot played by this program, else the first demonstration robot."""
        from fieldtune.robot import demo_home

        row = self._marked()
        path = row.path if row is not None and row.fault is None and not row.draft else demo_home() / "heron.toml"
        self.start.open_robot(path, f"sim://{path}")

    def action_new(self) -> None:
        """Sets up a robot."""
        from fieldtune.console.screens.set_up import SetUpScreen
        from fieldtune.setup.set_up import SetUp

        made = SetUp(self.start.home, self.start.preferences.us)
        self.app.push_screen(SetUpScreen(made), self._after)

    def _go_on(self, draft: Path) -> None:
        from fieldtune.console.screens.set_up import SetUpScreen
        from fieldtune.setup.set_up import SetUp

        try:
            made = SetUp.resumed(draft, self.start.preferences.us)
        except FieldtuneError as error:
            self.say(str(error), bad=True)
        else:
            self.app.push_screen(SetUpScreen(made), self._after)

    def action_edit(self) -> None:
        """Changes the marked robot's values."""
        row = self._marked()
        if row is None or row.draft or row.demo:
            why = (
                "a demonstration robot stays as it is: n sets up one of your own"
                if row and row.demo
                else "mark a robot first"
            )
            self.say(why, bad=True)
        else:
            self._edit(row.path)

    def _edit(self, profile: Path) -> None:
        from fieldtune.console.screens.edit_robot import EditScreen
        from fieldtune.setup.profile_text import ProfileText
        from fieldtune.setup.set_up import SetUp

        try:
            text = ProfileText.at(profile)
            made = SetUp(profile.parent, self.start.preferences.us, text, editing=True)
        except (FieldtuneError, KeyError, ValueError) as error:
            self.say(f"{error}", bad=True)
        else:
            self.app.push_screen(EditScreen(made), self._after)

    def action_line(self) -> None:
        """Cable, port and names of the marked robot."""
        row = self._marked()
        if row is None or row.draft or row.demo or row.fault is not None:
            self.say("mark a robot of your own first; n sets one up", bad=True)
        else:
            self._line(row.path)

    def _line(self, profile: Path) -> None:
        from fieldtune.console.screens.ports import PortsScreen
        from fieldtune.setup.profile_text import ProfileText

        try:
            self.app.push_screen(PortsScreen(ProfileText.at(profile)), self._after)
        except FieldtuneError as error:
            self.say(str(error), bad=True)

    def _after(self, profile: Path | None) -> None:
        self.run_worker(self._shown_again(profile), exclusive=True)

    async def _shown_again(self, profile: Path | None) -> None:
        await self.reload()
        if profile is not None:
            self._mark(profile)

    def action_units(self) -> None:
        """The other system of units, for all that is shown and typed."""
        self.start.action_units()
        self.show_rows()


def _shots_in(log: Path) -> int:
    from fieldtune.store import Store

    store = Store(log)
    try:
        return sum(shot.counts for shot in store.shots())
    finally:
        store.close()
