"""What every running app of ours shares: its terminal, its themes, keys in their order, output by differences."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Protocol, TypeVar, runtime_checkable

from rich.color import ColorSystem
from textual._compositor import CompositorUpdate
from textual.app import App
from textual.events import CursorPosition, Event, Key, Resize
from textual.filter import LineFilter

from fieldtune import person_units
from fieldtune.console import output, terminal, themes
from fieldtune.console.drawing import Drawing, NoColours, PlainGlyphs
from fieldtune.console.output import MeasuredWriter, Output
from fieldtune.console.painting import Painter
from fieldtune.console.terminal import Paper
from fieldtune.setup.preferences import Preferences, keep_preferences

if TYPE_CHECKING:
    from rich.console import RenderableType
    from textual.driver import Driver
    from textual.screen import Screen

T = TypeVar("T")
_PASSED_ON_S = 0.05
"""How long keys that were read need at most to be in the queue of events, when nothing else is done meanwhile."""

_STOPS_OTHERS = ("ctrl+c", "ctrl+z")
"""Keys that stop other programs; here they stop nothing, and one that copies is soon pressed by mistake."""


def prepare() -> None:
    """Makes the running program read and write its terminal our way; before an app runs."""
    terminal.install()
    output.install()


@runtime_checkable
class Typing(Protocol):
    """A screen that has text keys for itself."""

    def take(self, event: Key) -> bool:
        """Acts on a key; whether it was one for this screen."""
        ...


class TerminalApp(App[T]):
    """An app on the person's terminal.

    ``drawing``: what that can show; ``settings``: where the theme is kept; ``preferences``: what the person prefers.
    """

    ENABLE_COMMAND_PALETTE = False
    HORIZONTAL_BREAKPOINTS: ClassVar[list[tuple[int, str]]] = [  # type: ignore[misc]
        (0, "-narrow"), (80, "-usual"), (116, "-wide"), (160, "-broad"),
    ]  # fmt: skip
    VERTICAL_BREAKPOINTS: ClassVar[list[tuple[int, str]]] = [  # type: ignore[misc]
        (0, "-flat"), (21, "-short"), (28, "-medium"), (36, "-tall"), (50, "-huge"),
    ]  # fmt: skip

    def __init__(
        self,
        drawing: Drawing | None = None,
        settings: Path | None = None,
        preferences: Preferences | None = None,
    ) -> None:
        super().__init__()
        self.preferences = preferences if preferences is not None else Preferences()
        # Before the style sheet is read for the first time, so that it is read once.
        self.drawing = drawing if drawing is not None else Drawing()
        self.output: Output | None = None
        """What goes to the terminal; None before the first paint and without one."""
        self._settings = settings
        chosen = themes.chosen(settings)
        self._follows_paper = self.drawing.asks and chosen is None
        self._plain: list[LineFilter] = [] if self.drawing.glyphs == "braille" else [PlainGlyphs(self.drawing.glyphs)]
        self._plain += [NoColours()] if self.drawing.colours == "none" else []
        for theme in themes.themes(self.drawing.colours != "many"):
            self.register_theme(theme)
        self.set_reactive(App.theme, chosen or themes.usual(self.drawing.light))
        self.stylesheet.set_variables(self.get_css_variables())

    def get_line_filters(self) -> Sequence[LineFilter]:
        """What keeps to the characters and colours of this terminal."""
        return [*super().get_line_filters(), *self._plain]

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our colour names for themes that aren't ours."""
        return themes.defaults()

    def say(self, text: str) -> None:
        """One line of news; each app has its own place for it."""

    def action_sunlight(self) -> None:
        """The next theme: dark, sunlight, high contrast; kept for the next time."""
        self._follows_paper = False
        self.theme = themes.following(self.theme)
        said = f"theme: {themes.NAMES[self.theme]}"
        try:
            themes.keep_theme(self._settings, self.theme)
        except OSError as error:
            said += f" (not kept: {error.strerror})"
        self.say(said)

    def action_units(self) -> None:
        """From metric to US customary units and back, for all that is shown and typed; kept for the next time."""
        person_units.use("metric" if person_units.us() else "us")
        self.preferences.units = "us" if person_units.us() else "metric"
        keep_preferences(self.preferences)
        self.say(f"units: {'US customary' if person_units.us() else 'metric'}")

    def action_find(self) -> None:
        """Finds any act, view or figure by a part of its name."""
        from textual.command import CommandPalette

        from fieldtune.console.find import Finder

        self.push_screen(CommandPalette([Finder], placeholder="Part of a name: an act, a view, a figure"))

    def on_mount(self) -> None:
        """Asks for the background where the theme may follow it."""
        if self._driver is not None and not self.is_headless and self._follows_paper:
            terminal.ask_paper(self._driver.write)

    # keys

    async def on_event(self, event: Event) -> None:
        """Keys are acted on here, one after another, whatever screen the one before has opened or closed.

        Textual hands each key on to the focused widget's own queue, where a key that follows at once is seen by a
        screen that the first was to close, or that isn't mounted yet.
        """
        if isinstance(event, Key) and not event.is_forwarded and not self._finding:
            if self.is_running and self.screen_stack:  # else it is ending
                if self.output is not None:
                    self.output.hurry()
                await self._press(event)
        elif isinstance(event, CursorPosition) and self.output is not None:
            self.output.answered()
        elif isinstance(event, Paper):
            if event.light and self._follows_paper:
                self.theme = themes.SUNLIGHT
        else:
            if isinstance(event, Resize) and self.output is not None:
                self.output.painter.forget()  # also after the program was stopped and went on
            await super().on_event(event)

    @property
    def _finding(self) -> bool:
        """Whether the toolkit's own palette is open, which takes its keys itself."""
        return bool(self.screen_stack) and self.screen.has_class("--textual-command-palette")

    async def _press(self, event: Key) -> None:
        if isinstance(self.screen, Typing) and self.screen.take(event):
            return
        if event.key in _STOPS_OTHERS:
            self.say("q leaves; what was confirmed is kept")
        bound = self.screen.active_bindings.get(event.key)
        if bound is None:
            self.unbound(event)
        elif bound.enabled:
            await self.run_action(bound.binding.action, bound.node)

    def unbound(self, event: Key) -> None:
        """A key that means nothing here."""

    def read_out(self, then: Callable[[], None]) -> None:
        """Reads what was typed until now and nothing more; ``then`` is called once those keys were acted on."""
        if self._driver is not None:
            self._driver.disable_input()
        asyncio.get_running_loop().call_later(_PASSED_ON_S, self.call_later, then)

    # the terminal

    def _display(self, screen: Screen[object], renderable: RenderableType | None) -> None:
        """Sends what changed instead of what was painted, at a rate that the link carries."""
        driver = self._driver
        if (
            not isinstance(renderable, CompositorUpdate)
            or driver is None
            or self.is_headless
            or driver.is_inline
            or self._batch_count
            or not self.is_running
        ):
            super()._display(screen, renderable)
            return
        if self.output is None:
            self.output = self._output(driver)
        self.output.painter.resize(*self.size)
        self.output.painter.take(renderable)
        x, y = self.cursor_position
        self.output.cursor = f"\x1b[{y + 1};{x + 1}H" if x or y else ""
        self.output.flush()
        self.post_display_hook()

    def _output(self, driver: Driver) -> Output:
        def write(text: str) -> None:
            self._begin_update()
            driver.write(text)
            self._end_update()
            driver.flush()

        writer = getattr(driver, "_writer_thread", None)
        measured = writer if isinstance(writer, MeasuredWriter) else None
        colors = self.console._color_system or ColorSystem.TRUECOLOR
        made = Output(Painter(colors), write, time.monotonic, asks=measured is not None)
        if measured is not None:
            made.full_rate = lambda: measured.rate
        made.hurry()  # somebody waits for the first picture
        return made

    async def ended(self) -> None:
        """Nothing more is asked of the terminal, and no answer is on its way that the shell would get."""
        if self.output is not None:
            await self.output.ended()
