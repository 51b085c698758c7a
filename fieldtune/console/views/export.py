"""Export: a table, the pit sheet or program source to a file, by name, with a question before anything is replaced."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune import units
from fieldtune.console import keys, words
from fieldtune.console.board import Board
from fieldtune.console.entry import Entry, Question
from fieldtune.console.plates import Part, Plate
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.link.live import Live
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session


@dataclass(frozen=True, slots=True)
class Stretch:
    """The distances of a table, metres."""

    near_m: float
    far_m: float
    step_m: float

    @property
    def distances(self) -> list[float]:
        """Nearest to farthest, both included where the step meets them."""
        count = int((self.far_m - self.near_m) / self.step_m + 1e-9) + 1
        return [round(self.near_m + i * self.step_m, 4) for i in range(count)]


@dataclass(frozen=True, slots=True)
class Job:
    """One thing that can be written: what it is, the ending of its file, and what makes its text."""

    name: str
    ending: str
    text: Callable[[Session, Stretch, str | None, Path], str]


def _csv(session: Session, stretch: Stretch, target: str | None, path: Path) -> str:
    from fieldtune.share.tables import csv_text

    return csv_text(session.table(stretch.distances, target=target))


def _json(session: Session, stretch: Stretch, target: str | None, path: Path) -> str:
    from fieldtune.share.tables import json_text

    return json_text(session.robot, session.table(stretch.distances, target=target))


def _sheet(session: Session, stretch: Stretch, target: str | None, path: Path) -> str:
    from fieldtune.share.sheet import sheet

    return str(sheet(session))


def _source(language: str) -> Callable[[Session, Stretch, str | None, Path], str]:
    def text(session: Session, stretch: Stretch, target: str | None, path: Path) -> str:
        from fieldtune.share.curve import curve
        from fieldtune.share.sources import class_name_for, source
        from fieldtune.share.when import today

        named = class_name_for(path.stem) if language == "java" else None
        made = curve(session, stretch.near_m, stretch.far_m, target=target)
        return source(made, language, today(session), named)

    return text


JOBS = (
    Job("Table for a spreadsheet", ".csv", _csv),
    Job("Table as JSON", ".json", _json),
    Job("Pit sheet to print", ".html", _sheet),
    Job("Java source", ".java", _source("java")),
    Job("C++ source", ".hpp", _source("cpp")),
    Job("Python source", ".py", _source("python")),
)


def usual_stretch(robot: Robot) -> Stretch:
    """From the nearest to the farthest spot in steps of 10 cm; one to four metres where there are none."""
    distances = [spot.distance for spot in robot.spots]
    if not distances:
        return Stretch(1.0, 4.0, 0.1)
    near, far = min(distances), max(distances)
    return Stretch(near, far if far > near else near + 1.0, 0.1)


def read_stretch(text: str) -> Stretch:
    """``1.5 m to 3.2 m step 10 cm``; raises ``InputError`` saying what is expected."""
    expected = "write it as 1.5 m to 3.2 m step 10 cm"
    match = re.fullmatch(r"\s*(?:from\s+)?(.+?)\s+to\s+(.+?)\s+step\s+(.+?)\s*", text)
    if match is None:
        raise InputError(f"the stretch can't be read: {expected}")
    near, far, step = (units.parse(piece, units.LENGTH) for piece in match.groups())
    if not (0 < near < far <= 100 and step > 0 and (far - near) / step <= 2000):
        raise InputError(f"the stretch has to go from near to far, at most 100 m and 2000 rows: {expected}")
    return Stretch(near, far, step)


def file_name(robot: Robot, job: Job) -> str:
    """A name for the file, such as ``heron-setpoints.csv``."""
    if job.ending == ".java":
        return "".join(word.capitalize() for word in robot.name.split("-")) + "Setpoints.java"
    stem = f"{robot.name}-sheet" if job.ending == ".html" else f"{robot.name}-setpoints"
    return (stem.replace("-", "_") if job.ending in (".py", ".hpp") else stem) + job.ending


class ExportView(Board):
    """What can be written, each with a number."""

    TITLE_WORDS = "Export"
    OWN: ClassVar[list[Binding]] = [
        *(
            Binding(str(n), f"write({n - 1})", job.name, tooltip=f"Write it to a file ({job.ending})",
                    id=f"export-{n}", show=False)
            for n, job in enumerate(JOBS, 1)
        ),
        Binding("r", "stretch", "Range", tooltip="From where to where, and in which steps", id="export-range"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def compose_body(self) -> ComposeResult:
        self.stretch = usual_stretch(self.console.robot)
        self.written: list[str] = []
        yield Plate(id="export-list")

    def key_rows(self) -> list[list[Binding]]:
        return [[*self.OWN, *keys.VIEWS, *keys.ALWAYS]]

    def tick(self, live: Live) -> None:
        super().tick(live)
        self.query_one("#export-list", Plate).put(*self._list())

    def _list(self) -> list[Part]:
        stretch, robot = self.stretch, self.console.robot
        span = f"{words.metres(stretch.near_m)} to {words.metres(stretch.far_m)}, every {100 * stretch.step_m:.0f} cm"
        parts: list[Part] = [("Write to a file: press the number\n\n", "bold $act")]
        for number, job in enumerate(JOBS, 1):
            parts += [(f"  {number}  ", "bold $ink"), (f"{job.name:<26}", "$ink")]
            parts.append((f"{file_name(robot, job)}\n", "$quiet"))
        parts += [("\n  r  ", "bold $ink"), (f"{'Range':<26}", "$ink"), (f"{span}\n\n", "$quiet")]
        parts.append(("Numbers come from the shots kept so far: write again after the next ones.\n", "$quiet"))
        parts += [(f"\nWritten: {words.printable(path)}", "$good") for path in self.written[-4:]]
        return parts

    def action_stretch(self) -> None:
        """Ask for another range."""
        stretch = self.stretch
        value = f"{stretch.near_m:g} m to {stretch.far_m:g} m step {100 * stretch.step_m:g} cm"
        asked: Entry[Stretch] = Entry("Which distances?", read_stretch, "for tables; sources use the ends", value)
        self.app.push_screen(asked, self._take_stretch)

    def _take_stretch(self, stretch: Stretch | None) -> None:
        if stretch is not None:
            self.stretch = stretch
            self.console.show()

    def action_write(self, number: int) -> None:
        """Ask for the file's name, and before replacing one."""
        job = JOBS[number]

        def read(text: str) -> Path:
            if not text.strip() or not text.isprintable():
                raise InputError("write the name of a file, or its whole path")
            path = Path(text.strip()).expanduser()
            if path.is_dir():
                raise InputError(f"{path} is a folder: write the name of a file in it")
            return path

        here = words.shorten(words.printable(str(Path.cwd())), 60)
        asked: Entry[Path] = Entry(f"{job.name}: into which file?", read, here, file_name(self.console.robot, job))
        self.app.push_screen(asked, lambda path: self._ask_before_replacing(job, path))

    def _ask_before_replacing(self, job: Job, path: Path | None) -> None:
        if path is None:
            return
        if path.exists():
            name = words.printable(str(path))
            self.app.push_screen(
                Question(f"{name} is there already. Replace it?"),
                lambda yes: self._start(job, path, replace=True) if yes else self.console.say("nothing was written"),
            )
        else:
            self._start(job, path, replace=False)

    def _start(self, job: Job, path: Path, *, replace: bool) -> None:
        self.console.say(f"writing {path}…")
        self.console.begin(self._write(job, path, replace), "export", exclusive=False)

    async def _write(self, job: Job, path: Path, replace: bool) -> None:
        console, target = self.console, self.console.desk.target.name
        done = await console.ask("Writing", write, job, console.session, self.stretch, target, path, replace)
        if done is not None:
            self.written.append(str(done))
            console.say(f"written: {done}")


def write(job: Job, session: Session, stretch: Stretch, target: str | None, path: Path, replace: bool) -> Path:
    """Make the text and write it whole or not at all; returns the whole path. Raises ``OutputError``."""
    from fieldtune.files import write_whole

    write_whole(path, job.text(session, stretch, target, path), force=replace)
    return path.resolve()
