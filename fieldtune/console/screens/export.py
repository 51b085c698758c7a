"""Export: table, pit sheet, program source or a file for another laptop; before one is replaced it asks.

A newcomer's question: "which numbers leave the tool?" In a large window the map shows them: the recommended line.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune.console import words
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.widgets.entry_line import EntryLine, Question
from fieldtune.console.widgets.pictures import Pictures
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.errors import InputError
from fieldtune.share.export_kinds import KINDS, suggested_name

if TYPE_CHECKING:
    from fieldtune.link.samples import Live

CHOICES = len(KINDS)
"""How many things can be written."""
_TITLE_WIDE = 51


def read_path(text: str) -> Path:
    """A typed path; raises ``InputError`` where it can't be the name of a file."""
    said = text.strip()
    if not said or not said.isprintable():
        raise InputError("write the name of a file, or its whole path")
    path = Path(said).expanduser()
    if path.is_dir():
        raise InputError(f"{path} is a folder: write the name of a file in it")
    return path


class ExportScreen(ConsoleScreen):
    """What can be written, each with a number."""

    TITLE_WORDS = "Export"
    OWN: ClassVar[list[Binding]] = [
        Binding(str(n), f"write({n - 1})", "Write", tooltip=f"Write number {n} of the list to a file", id=f"export-{n}",
                show=n == 1, key_display=f"1–{CHOICES}")
        for n in range(1, CHOICES + 1)
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._written: list[str] = []

    def compose_body(self) -> ComposeResult:
        robot = self.controller.robot.name
        self._kinds = [(kind, title, suggested_name(robot, kind)) for kind, title in KINDS.items()]
        yield TextBlock(id="export-list")
        yield Pictures(id="export-map")

    def tick(self, live: Live) -> None:
        super().tick(live)
        if self.small:
            wide = self.size.width - 8
            rows = (f"{n} {words.shorten(title, wide)}\n" for n, (_, title, _) in enumerate(self._kinds, 1))
            self.query_one("#export-list", TextBlock).put(*rows)
            return
        parts: list[Part] = [("Write to a file: press the number\n\n", "bold $act")]
        for number, (_, title, name) in enumerate(self._kinds, 1):
            parts += [(f"  {number}  ", "bold $ink"), (f"{title:<{_TITLE_WIDE}}", "$ink"), (f"{name}\n", "$quiet")]
        parts.append(("\nNumbers come from the shots confirmed so far: write again after the next ones.\n", "$quiet"))
        parts += [(f"\n● written: {words.printable(path)}", "$good") for path in self._written[-4:]]
        self.query_one("#export-list", TextBlock).put(*parts)
        picture = self.query_one("#export-map", Pictures)
        if picture.size.height:
            self.controller.robot_map.look()
            picture.show(self.controller.robot_map.chart())

    def action_write(self, number: int) -> None:
        """Ask for the file's name, and before replacing one."""
        if number >= len(self._kinds):
            return
        kind, title, name = self._kinds[number]
        here = "in " + words.shorten(words.printable(str(Path.cwd())), 50)
        asked: EntryLine[Path] = EntryLine(f"{title[0].upper()}{title[1:]}: into which file?", read_path, here, name)
        self.app.push_screen(asked, lambda path: self._ask_before_replacing(kind, path))

    def _ask_before_replacing(self, kind: str, path: Path | None) -> None:
        if path is None:
            return
        if path.exists():
            asked = Question(f"{words.printable(str(path))} is there already. Replace it?")
            self.app.push_screen(asked, lambda yes: self._start(kind, path, replace=True) if yes else self._leave_it())
        else:
            self._start(kind, path, replace=False)

    def _leave_it(self) -> None:
        self.controller.news.say("nothing was written")

    def _start(self, kind: str, path: Path, *, replace: bool) -> None:
        self.controller.news.say(f"writing {path}…")
        self.controller.background.begin("export", self._write, kind, path, replace, exclusive=False)

    async def _write(self, kind: str, path: Path, replace: bool) -> None:
        from fieldtune.share.export import export

        controller, shooting = self.controller, self.controller.shooting
        session, name = controller.session, shooting.target.name
        done = await controller.background.ask(
            "Writing", export, session, kind, path, replace, shooting.battery_v, name
        )
        if done is not None:
            self._written.append(str(done.resolve()))
            controller.news.say(f"written: {done.resolve()}")
