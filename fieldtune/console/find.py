"""What is found by a part of its name: acts of this screen, of the main screen and of each view, views, figures."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING, cast

from textual.binding import Binding
from textual.command import DiscoveryHit, Hit, Hits, Provider

from fieldtune.console import keys, screens
from fieldtune.console.terminal_app import TerminalApp
from fieldtune.figures import meanings
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.console.app import ConsoleApp

_IN_HELP = 0.3
"""What a match in the explanation counts, against one in the name."""


@frozen
class Row:
    """One thing that can be found: what it is called, what is said of it, and what choosing it does."""

    name: str
    says: str
    run: Callable[[], Awaitable[object] | object]


class Finder(Provider):
    """Looks through all that can be done and read."""

    async def discover(self) -> Hits:
        """What is offered before anything is typed: what can be done here."""
        for row in self._here():
            yield DiscoveryHit(row.name, row.run, help=row.says)

    async def search(self, query: str) -> Hits:
        """Everything whose name, or else whose explanation, has these letters in this order."""
        matcher = self.matcher(query)
        for row in self._all():
            score = matcher.match(row.name)
            if score > 0:
                yield Hit(score, matcher.highlight(row.name), row.run, text=row.name, help=row.says)
            elif query.casefold() in row.says.casefold():
                yield Hit(_IN_HELP * matcher.match(row.says), row.name, row.run, text=row.name, help=row.says)

    def _here(self) -> Iterator[Row]:
        app = cast("TerminalApp[object]", self.app)
        for active in self.screen.active_bindings.values():
            binding = active.binding
            if binding.id is not None and active.enabled and binding.action != keys.FIND.action:
                run = partial(app.run_action, binding.action, active.node)
                yield Row(_named(binding), binding.tooltip, run)

    def _all(self) -> Iterator[Row]:
        found = {row.name: row for row in self._here()}
        yield from found.values()
        from fieldtune.console.app import ConsoleApp

        if isinstance(self.app, ConsoleApp):
            yield from (row for row in self._elsewhere(self.app) if row.name not in found)
        for name, says in meanings():
            yield Row(
                f"{name}: what is it?", says, partial(cast("TerminalApp[object]", self.app).say, f"{name}: {says}")
            )

    def _elsewhere(self, app: ConsoleApp) -> Iterator[Row]:
        spots = {f"spot({number})" for number in range(len(app.controller.robot.spots) + 1, 10)}
        for binding in [*keys.DISTANCES, *(keys.SIMULATED if app.controller.simulated else [])]:
            if binding.action not in spots:
                yield Row(_named(binding), binding.tooltip, partial(app.on_main, binding.action))
        for name in screens.NAMES:
            view = screens.screen_class(name)
            for binding in view.OWN:
                key = binding.key_display or binding.key
                says = f"{binding.tooltip}: opens {view.TITLE_WORDS}, then press {key}"
                yield Row(f"{binding.description} (on {view.TITLE_WORDS})", says, partial(app.action_view, name))


def _named(binding: Binding) -> str:
    return f"{binding.description}  {binding.key_display or binding.key.split(',')[0]}"
