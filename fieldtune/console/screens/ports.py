"""The ports there are, with what each sends at this moment; the chosen one goes on to whose name is whose."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding

from fieldtune.console import words
from fieldtune.console.screens.set_up_frame import ListScreen
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import Part
from fieldtune.errors import FieldtuneError, InputError

if TYPE_CHECKING:
    from fieldtune.link.raw_line import RawLine
    from fieldtune.setup.profile_text import ProfileText

_KEYS = [
    Binding(
        "enter",
        "choose",
        "This one",
        tooltip="Read this port, and say whose name is whose",
        id="ports-choose",
        priority=True,
        key_display="Enter",
    ),
    Binding("t", "type", "Type a port", tooltip="A device or URL that isn't listed", id="ports-type"),
    Binding("p", "program", "Robot program", tooltip="What the robot has to print, with examples", id="ports-program"),
    Binding(
        "x", "without", "No line", tooltip="Open the console without a line: setpoints are typed", id="ports-without"
    ),
    Binding("escape", "leave", "Back", tooltip="Back to the list of robots", id="ports-leave", key_display="Esc"),
]
_LOOK_S = 0.25
_AGAIN = 8
"""Looks between two searches for ports that were plugged in."""


class PortsScreen(ListScreen):
    """Listens on every port at once; nothing is ever written to one."""

    OWN: ClassVar[list[list[Binding]]] = [_KEYS]

    def __init__(self, profile: ProfileText) -> None:
        super().__init__()
        self.profile = profile
        self._ports: dict[str, tuple[str, RawLine]] = {}
        self._typed: list[str] = []
        self._looks = 0

    def on_mount(self) -> None:
        """Begins to listen."""
        self.head(f"Line of {self.profile.path.stem}", ("   a cable, or a URL: which port is it?", "$quiet"))
        for port in (self.start.wish.port, self.profile.value("link.port")):
            if isinstance(port, str) and port not in ("auto", *self._typed):
                self._typed.append(port)
        self._look()
        self.set_interval(_LOOK_S, self._look)

    def on_unmount(self) -> None:
        """Listens no longer."""
        for _, line in self._ports.values():
            line.stop()

    def _look(self) -> None:
        from fieldtune.link.raw_line import RawLine, present

        if self.app.screen is not self:
            return
        if self._looks % _AGAIN == 0:
            there = [*present(), *((port, "typed") for port in self._typed)]
            for device, about in there:
                if device not in self._ports:
                    self._ports[device] = about, RawLine(device)
            for device in set(self._ports) - {device for device, _ in there}:
                self._ports.pop(device)[1].stop()
        self._looks += 1
        rows = [(device, self._row(device, about, line)) for device, (about, line) in self._ports.items()]
        self.put_rows(rows)
        self.about((self._said(), "$quiet"))

    def _said(self) -> str:
        """What there is to do; of the marked port, why it can't be read, whole."""
        if not self._ports:
            return "No serial port found yet: plug the robot in, or press t and type a device or URL."
        marked = self.marked
        line = None if marked is None or marked >= len(self._ports) else list(self._ports.values())[marked][1]
        if line is not None and line.words != "opening" and not line.lines(1):
            return words.printable(line.words)
        return "Listening on every port; opening one restarts some controllers. Enter takes the marked one."

    def _row(self, device: str, about: str, line: RawLine) -> list[Part]:
        last = line.lines(1)
        rate = "" if line.rate_hz is None else f", {line.rate_hz:.0f} lines/s"
        parts: list[Part] = [
            (f"{words.printable(device):<16} ", "bold $ink"),
            (f"{words.printable(line.words)}{rate}", "$good" if last else "$act"),
        ]
        if last:
            parts.append((f"   {last[0]}", "$quiet"))
        elif about:
            parts.append((f"   {words.printable(about)}", "$quiet"))
        return parts

    def action_choose(self) -> None:
        """Goes on with the marked port."""
        from fieldtune.console.screens.line_map import LineMapScreen

        if self.marked is None or self.marked >= len(self._ports):
            self.say("there is no port to take: plug the robot in, or press t", bad=True)
            return
        device = list(self._ports)[self.marked]
        _, line = self._ports.pop(device)
        self.app.switch_screen(LineMapScreen(self.profile, line))

    def action_type(self) -> None:
        """A port that isn't listed."""
        self.app.push_screen(
            EntryLine("Which port?", _read_port, "a device, or socket://HOST:PORT, udp://:PORT"), self._add
        )

    def _add(self, port: str | None) -> None:
        if port is not None and port not in self._typed:
            self._typed.append(port)
        self._looks = 0
        self._look()
        if port is not None:
            self.rows.highlighted = list(self._ports).index(port)

    def action_program(self) -> None:
        """What a robot program would have to print."""
        from fieldtune.console.screens.sender import SenderScreen

        self.app.push_screen(SenderScreen())

    def action_without(self) -> None:
        """Opens the console without a line."""
        from fieldtune.setup.wishes import NO_LINE

        try:
            self.profile.set("link.port", NO_LINE)
            self.profile.save()
        except FieldtuneError as error:
            self.say(str(error), bad=True)
        else:
            self.start.open_robot(self.profile.path)

    def action_leave(self) -> None:
        """Back to the list."""
        self.dismiss(self.profile.path)


def _read_port(text: str) -> str:
    from fieldtune.port_names import port_name, port_problem

    said = port_name(text)
    problem = port_problem(said) if len(said) <= 300 else "too long for a port's name"
    if problem is not None:
        raise InputError(problem)
    return said
