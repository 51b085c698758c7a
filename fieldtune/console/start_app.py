"""Before and between robots: the console's start screen, the set-up of a robot and of its line."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import ClassVar, Protocol, runtime_checkable

from textual.app import App
from textual.binding import BindingType
from textual.events import Event, Key

from fieldtune.console import terminal, themes
from fieldtune.console.screens.start import StartScreen
from fieldtune.console.terminal import leaving_on_signals
from fieldtune.setup.preferences import Preferences, keep_preferences
from fieldtune.setup.wishes import Opening, Wish


@runtime_checkable
class Typing(Protocol):
    """A screen that has text keys for itself."""

    def take(self, event: Key) -> bool:
        """Acts on a key; whether it was one for this screen."""
        ...


class StartApp(App[Opening]):
    """Chooses, makes and mends robots; ends with what to open, or None to quit."""

    CSS_PATH: ClassVar[list[str | Path]] = ["console.tcss", "set_up.tcss"]  # type: ignore[assignment]
    ENABLE_COMMAND_PALETTE = False
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (70, "-usual"), (116, "-wide")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-flat"), (18, "-short"), (36, "-tall")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self, home: Path, preferences: Preferences, wish: Wish | None = None) -> None:
        super().__init__()
        self.home, self.preferences, self.wish = home, preferences, wish or Wish("robots")
        for theme in themes.themes():
            self.register_theme(theme)
        self.set_reactive(App.theme, themes.kept_theme(themes.settings_path()))
        self.stylesheet.set_variables(self.get_css_variables())

    def get_default_screen(self) -> StartScreen:
        """The list of robots lies under all others."""
        return StartScreen()

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our colour names for themes that aren't ours."""
        return themes.defaults()

    async def on_event(self, event: Event) -> None:
        """Keys are acted on here, one after another, whatever screen the one before has opened or closed."""
        if isinstance(event, Key) and not event.is_forwarded:
            if self.is_running and self.screen_stack:
                await self._press(event)
        else:
            await super().on_event(event)

    async def _press(self, event: Key) -> None:
        if isinstance(self.screen, Typing) and self.screen.take(event):
            return
        bound = self.screen.active_bindings.get(event.key)
        if bound is not None and bound.enabled:
            await self.run_action(bound.binding.action, bound.node)

    def switch_units(self) -> None:
        """From metric to US customary units and back, kept for the next time."""
        self.preferences.units = "metric" if self.preferences.us else "us"
        keep_preferences(self.preferences)

    def open_robot(self, profile: Path, port: str | None = None) -> None:
        """Leaves with that robot."""
        with contextlib.suppress(RuntimeError):
            self.preferences.last = str(profile.resolve())
        keep_preferences(self.preferences)
        self.exit(Opening(profile, port))


def choose(home: Path, preferences: Preferences, wish: Wish | None = None) -> Opening | None:
    """Opens the start screen, or what the ``wish`` is; None to quit."""
    terminal.install()
    app = StartApp(home, preferences, wish)
    with leaving_on_signals(app.exit):
        return app.run()
