"""Before and between robots: the console's start screen, the set-up of a robot and of its line."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import ClassVar

from textual.binding import BindingType

from fieldtune import person_units
from fieldtune.console import keys, themes
from fieldtune.console.drawing import Drawing, drawing_for
from fieldtune.console.screens.set_up_frame import KeysPage, SetUpFrame
from fieldtune.console.screens.start import StartScreen
from fieldtune.console.terminal import leaving_on_signals
from fieldtune.console.terminal_app import TerminalApp, prepare
from fieldtune.setup.preferences import Preferences, keep_preferences
from fieldtune.setup.wishes import Opening, Wish


class StartApp(TerminalApp[Opening]):
    """Chooses, makes and mends robots; ends with what to open, or None to quit."""

    CSS_PATH: ClassVar[list[str | Path]] = ["console.tcss", "set_up.tcss"]  # type: ignore[assignment]
    BINDINGS: ClassVar[list[BindingType]] = [*keys.BETWEEN_ROBOTS]

    def __init__(
        self,
        home: Path,
        preferences: Preferences,
        wish: Wish | None = None,
        settings: Path | None = None,
        drawing: Drawing | None = None,
    ) -> None:
        super().__init__(drawing, settings, preferences)
        person_units.use("us" if preferences.us else "metric")
        self.home, self.wish = home, wish or Wish("robots")

    def get_default_screen(self) -> StartScreen:
        """The list of robots lies under all others."""
        return StartScreen()

    def say(self, text: str) -> None:
        """One line of news on the open screen."""
        if isinstance(self.screen, SetUpFrame):
            self.screen.say(text)

    def open_robot(self, profile: Path, port: str | None = None) -> None:
        """Leaves with that robot."""
        with contextlib.suppress(RuntimeError):
            self.preferences.last = str(profile.resolve())
        keep_preferences(self.preferences)
        self._end(Opening(profile, port))

    def action_keys_here(self) -> None:
        """What the keys of this screen do."""
        if isinstance(self.screen, SetUpFrame):
            self.push_screen(KeysPage([*self.screen.keys_now, *keys.BETWEEN_ROBOTS]))

    def action_leave(self) -> None:
        """Quits; what was answered is on disk."""
        self._end(None)

    def _end(self, result: Opening | None) -> None:
        async def end() -> None:
            await self.ended()
            self.exit(result)

        self.run_worker(end(), exclusive=True)


def choose(home: Path, preferences: Preferences, wish: Wish | None = None) -> Opening | None:
    """Opens the start screen, or what the ``wish`` is; None to quit."""
    prepare()
    app = StartApp(home, preferences, wish, themes.settings_path(), drawing_for())
    with leaving_on_signals(lambda: app.read_out(app.exit)):
        return app.run()
