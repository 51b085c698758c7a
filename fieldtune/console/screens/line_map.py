"""Whose name is whose: the robot's raw line on one side, our fields with their values on the other."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal

from fieldtune.console import words
from fieldtune.console.screens.line import whole_lines
from fieldtune.console.screens.set_up_frame import ListScreen
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.errors import FieldtuneError, InputError
from fieldtune.link.text.raw_pairs import number_in
from fieldtune.link.text.wire_numbers import NotANumberError, value_of
from fieldtune.link.troubleshooting.mapping import as_profile, guess, lengths, unknown_unit
from fieldtune.link.troubleshooting.meanings import MEANINGS, Meaning, meanings, would_have_to_print
from fieldtune.link.troubleshooting.raw_names import Seen, read_names

if TYPE_CHECKING:
    from fieldtune.link.raw_line import RawLine
    from fieldtune.setup.profile_text import ProfileText

_LETTERS = {
    "s": ("speed", "Speed"), "c": ("counts", "Encoder"), "g": ("setpoint", "Setpoint"), "d": ("distance", "Distance"),
    "f": ("fired", "Shot"), "o": ("power", "Power"), "a": ("current", "Current"), "y": ("period", "Turn's time"),
    "2": ("speed2", "2nd wheel"), "w": ("draw", "Draw"), "h": ("hood", "Exit angle"), "r": ("turret", "Turret"),
    "b": ("battery", "Battery"), "t": ("time", "Clock"),
}  # fmt: skip
"""One key a reading; the same key again takes its next unit. In a narrow window the first and the last two show."""
_MAPS = [
    Binding(
        letter, f"means('{kind}')", short, id=f"map-{kind}",
        tooltip=f"The marked name is the {MEANINGS[kind][0].words}; again: its next unit",
    )
    for letter, (kind, short) in _LETTERS.items()
]  # fmt: skip
_KEYS = [
    Binding(
        "enter",
        "choose",
        "Save and open",
        tooltip="Write the mapping into the profile, open the console",
        id="map-save",
        priority=True,
        key_display="Enter",
    ),
    Binding(
        "minus", "nothing", "Not used", tooltip="The marked name is nothing of ours", id="map-nothing", key_display="-"
    ),
    Binding("k", "factor", "Factor", tooltip="Type the factor from the robot's number to ours", id="map-factor"),
    Binding("p", "program", "Robot program", tooltip="What the robot has to print, with examples", id="map-program"),
    Binding("escape", "leave", "Back", tooltip="Back without changing anything", id="map-leave", key_display="Esc"),
]
_LOOK_S = 0.2
_NARROW = 60


class LineMapScreen(ListScreen):
    """Guesses first; a person changes what is wrong, by one key each."""

    OWN: ClassVar[list[list[Binding]]] = [_MAPS, _KEYS]

    def __init__(self, profile: ProfileText, line: RawLine) -> None:
        super().__init__()
        self.profile, self.line = profile, line
        self._robot = profile.check()[0]
        self._seen = Seen((), False)
        self._mapping: dict[str, Meaning] = {}
        self._touched: set[str] = set()
        self._first: list[str] = []  # names that stand above others: those that say something

    def compose_body(self) -> ComposeResult:
        rows, about = super().compose_body()
        with Horizontal(id="line-map"):
            yield TextBlock(id="raw")
            yield rows
        yield about

    def on_mount(self) -> None:
        """What the line says, now and five times a second."""
        self.rows.styles.width = "3fr"
        self._look()
        self.set_interval(_LOOK_S, self._look)

    def on_unmount(self) -> None:
        """Listens no longer."""
        self.line.stop()

    def _look(self) -> None:
        if self.app.screen is not self:
            return
        lines = self.line.lines()
        rate = "" if self.line.rate_hz is None else f", {self.line.rate_hz:.0f} lines/s"
        said = f"   {words.printable(self.line.device)}: {words.printable(self.line.words)}{rate}"
        self.head(f"Line of {self.profile.path.stem}", (said, "$quiet"))
        raw = self.query_one("#raw", TextBlock)
        if raw.display:
            shown = whole_lines(lines, max(1, raw.size.height - 1), max(12, raw.size.width - 1))
            raw.put(("What the robot sends\n", "bold $act"), ("\n".join(shown) or "nothing yet", "$ink"))
        self._seen = read_names(lines)
        for name, meaning in guess(self._seen, self._robot).items():
            before = self._mapping.get(name)
            taken = {one.ours for one in self._mapping.values() if one is not before}
            if name not in self._touched and meaning.ours not in taken and (before is None or meaning.sure):
                self._mapping[name] = meaning
        if not self._seen.columns and not self._touched and not self.marked:  # else names would move under a key
            self._first = [*self._mapping, *(name for name in self._first if name not in self._mapping)]
        if not self._seen.columns and 0 < self.rows.size.height < len(self._seen.readings):
            place = {name: i for i, name in enumerate(self._first)}
            by_place = sorted(self._seen.readings, key=lambda one: place.get(one.name, len(place)))
            self._seen = replace(self._seen, readings=tuple(by_place))
        self._fill()

    def _fill(self) -> None:
        self.put_rows([(one.name, self._row(one.name, one.texts[-1])) for one in self._seen.readings])
        self.about(*self._advice())

    def _row(self, name: str, text: str) -> list[Part]:
        meaning = self._mapping.get(name)
        wide, digits = (18, 12) if self.size.width >= 100 else (12, 8)
        parts: list[Part] = [(f"{words.shorten(words.printable(name), wide):<{wide}} ", "bold $ink"),
                             (f"{words.shorten(words.printable(text), digits):>{digits}} ", "$ink")]  # fmt: skip
        if meaning is None:
            return [*parts, ("  not used", "$quiet")]
        meaning = replace(meaning, sure=not self._is_open(name))
        ours = _in_our_unit(text, meaning)
        if self.size.width < _NARROW:
            return [*parts, (f"  {_in_short(meaning)}", "$act" if meaning.sure else "$bad"), (ours, "$good")]
        if not meaning.sure:
            return [*parts, (f"  {meaning.words}: which unit?", "$bad")]
        return [*parts, (f"  {meaning.told}", "$act"), (ours, "$good")]

    def _advice(self) -> list[Part]:
        if not self._seen.readings:
            heard = bool(self.line.lines())
            nothing = "No line that ends was heard yet" if self.line.bytes else "Nothing was heard yet"
            why = "This text has no names and numbers that can be told apart" if heard else nothing
            wanted = would_have_to_print(["t_ms", "wheel_counts", "battery_mv", "setpoint", "fired"])
            return [(f"{why}. A robot program would have to print: ", "$bad"), (f"{wanted}\n", "bold $ink"),
                    ("p shows programs that do.", "$quiet")]  # fmt: skip
        fields = {one.ours for one in self._mapping.values()}
        lacks = []
        if not fields & {"wheel_counts", "wheel_rpm", "draw_mm"}:
            lacks.append("no speed or draw: shots can't be seen on the line")
        for one in self._seen.readings:
            counted = self._mapping.get(one.name) == MEANINGS["counts"][0]
            if counted and not all(number.is_integer() for number in one.numbers):
                lacks.append(f"{words.printable(one.name)} is an angle: c again for its unit")
            meaning = self._mapping.get(one.name)
            if meaning is not None and self._robot is not None and meaning.ours.startswith("distance"):
                may_be = lengths(one.name, one.numbers[-1], self._robot) if not one.behind else {}
                if len(may_be) > 1 and one.name not in self._touched:
                    lacks.append(f"{words.printable(one.name)}: {' or '.join(may_be)}? d until it fits")
        unsure = [words.printable(name) for name in self._mapping if self._is_open(name)]
        if unsure:
            lacks.append(f"{', '.join(unsure)}: which unit? It shows at a shot's speed, or its letter says it")
        if "setpoint" not in fields:
            lacks.append("no setpoint: the encoder's scale can't be checked against it")
        if not fields & {"battery_v", "battery_mv"}:
            lacks.append("no battery voltage")
        if not fields & {"t_ms", "t_us"}:
            lacks.append("no clock of the robot: times are rough")
        said = "; ".join(lacks) or "Everything that matters is there"
        name = self._marked_name()
        if self.size.width < _NARROW and name is not None and name in self._mapping:  # its row is cut off
            text = next(one.texts[-1] for one in self._seen.readings if one.name == name)
            meaning = self._mapping[name]
            if self._is_open(name):
                return [(f"{self._which_unit(name)}\n", "bold $bad"), (f"{said}.", "$quiet")]
            if may := [lack for lack in lacks if lack.startswith(f"{words.printable(name)}: ")]:
                return [(may[0], "bold $bad")]
            return [
                (f"{words.printable(name)}: {_in_short(meaning)}{_in_our_unit(text, meaning)}\n", "$act"),
                (f"{said}.", "$quiet"),
            ]
        return [
            (f"{said}.\n", "$bad" if lacks else "$good"),
            ("A letter says what the marked name is; again: its next unit. Enter saves.", "$quiet"),
        ]

    def _is_open(self, name: str) -> bool:
        """Whether nothing tells the unit, or it is one that nobody knows, without a factor."""
        meaning = self._mapping[name]
        return not meaning.sure or (meaning.scale == 1.0 and bool(self._unknown_unit(name)))

    def _unknown_unit(self, name: str) -> str:
        """What stands behind a name's numbers and is no unit of what it is mapped to; empty where nothing does."""
        reading = next((one for one in self._seen.readings if one.name == name), None)
        return "" if reading is None else unknown_unit(reading, self._mapping[name].ours, self._robot)

    def _which_unit(self, name: str) -> str:
        """What to press for the unit of a name that doesn't tell it."""
        if unknown := self._unknown_unit(name):
            name, unknown = words.shorten(words.printable(name), 10), words.shorten(unknown, 8)
            return f"{name} in {unknown}: k its factor, - not used"
        key = _letter_of(self._mapping[name])
        return f"{words.shorten(words.printable(name), 12)}: which unit? {key} until it fits"

    # what the keys do

    def _marked_name(self) -> str | None:
        number = self.marked
        return None if number is None or number >= len(self._seen.readings) else self._seen.readings[number].name

    def action_means(self, kind: str) -> None:
        """The marked name is this reading; the same key again: in its next unit."""
        name = self._marked_name()
        if name is None:
            return
        options, now = meanings(kind, self._robot), self._mapping.get(name)
        fresh = now is None or now not in options
        chosen = options[0] if fresh else options[(options.index(cast(Meaning, now)) + 1) % len(options)]
        for other, meaning in list(self._mapping.items()):
            if other != name and (meaning.ours == chosen.ours or meaning in options):
                del self._mapping[other]
                self._touched.add(other)
        self._mapping[name] = chosen
        self._touched.add(name)
        self.say("")
        self._fill()

    def action_nothing(self) -> None:
        """The marked name isn't used."""
        name = self._marked_name()
        if name is not None:
            self._mapping.pop(name, None)
            self._touched.add(name)
            self.say("")
            self._fill()

    def action_factor(self) -> None:
        """Type the factor of the marked name."""
        name = self._marked_name()
        if name is None or name not in self._mapping:
            self.say("mark a name, and say first what it is", bad=True)
            return
        meaning = self._mapping[name]
        asked: EntryLine[float] = EntryLine(
            f"{name} times what is {meaning.words}?",
            _read_factor,
            f"{meaning.ours} = number × factor, now {meaning.scale:g}",
        )
        self.app.push_screen(asked, lambda factor: self._take_factor(name, factor))

    def _take_factor(self, name: str, factor: float | None) -> None:
        if factor is not None:
            self._mapping[name] = replace(self._mapping[name], scale=factor, unit=f"its own unit, × {factor:g}")
            self._touched.add(name)
        self._fill()

    def action_program(self) -> None:
        """What a robot program would have to print."""
        from fieldtune.console.screens.sender import SenderScreen

        self.app.push_screen(SenderScreen())

    def action_choose(self) -> None:
        """Writes names, factors and port into the profile, and opens the console."""
        if not self._mapping:
            self.say("no name is mapped yet; Esc goes back without a line", bad=True)
            return
        if unsure := [name for name in self._mapping if self._is_open(name)]:
            names = [one.name for one in self._seen.readings]  # a guess would show a wrong number as a good one
            self.rows.highlighted = names.index(unsure[0]) if unsure[0] in names else self.rows.highlighted
            self.say(self._which_unit(unsure[0]), bad=True)
            return
        before = self.profile.text
        try:
            for table in ("link.fields", "link.columns", "link.scale"):
                self.profile.remove(table)
            for key, value in as_profile(self._mapping, self._seen).items():
                self.profile.set(key, value)
            self.profile.set("link.port", self._port())
            wrong = [one for one in self.profile.check()[1] if one.severity == "error"]
            if wrong:
                raise InputError(f"{wrong[0].key}: {wrong[0].message}")
            self.profile.save()
        except FieldtuneError as error:
            self.profile.text = before
            self.say(str(error), bad=True)
            return
        self.line.stop()
        self.start.open_robot(self.profile.path)

    def _port(self) -> str:
        """``auto`` where this is the only port there is, so that another socket tomorrow does no harm."""
        from fieldtune.link.raw_line import present

        return "auto" if [device for device, _ in present()] == [self.line.device] else self.line.device

    def action_leave(self) -> None:
        """Back to the list."""
        self.dismiss(self.profile.path)


def _in_short(meaning: Meaning) -> str:
    """``Speed rad/s``: what its key says, and its unit."""
    return f"{_LETTERS[_letter_of(meaning)][1]} {meaning.unit if meaning.sure else '?'}"


def _letter_of(meaning: Meaning) -> str:
    return next(
        letter for letter, (kind, _) in _LETTERS.items() if any(one.ours == meaning.ours for one in MEANINGS[kind])
    )


def _in_our_unit(text: str, meaning: Meaning) -> str:
    unit = {
        "wheel_counts": "counts",
        "wheel_rpm": "rpm",
        "battery_v": "V",
        "distance_m": "m",
        "draw_mm": "mm",
        "power_pct": "%",
    }.get(meaning.ours, "")
    number = number_in(text)
    if number is None or not meaning.sure:
        return ""
    value = number
    with contextlib.suppress(NotANumberError):
        value = float(value_of(text, meaning.ours))
    value = value * meaning.scale if value == number else value  # a unit behind it tells more
    return "" if value == number else f" = {value:.4g} {unit}".rstrip()


def _read_factor(text: str) -> float:
    from fieldtune.setup.answers import number

    factor = float(number(text))
    if not 1e-9 < abs(factor) < 1e9:
        raise InputError("expected a factor, such as 0.001 or 9.5493")
    return factor
