"""The log, newest first: shots without a result, and confirmed ones to correct or to leave out of learning.

A newcomer's question: "where did our shots go, and which of them is odd?" Beside the list, where there is room, stand
landings from above, and each shot against what is believed; the odd one lies outside of the band.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from fieldtune.console import words
from fieldtune.console.screens.base import USUAL_WIDTH
from fieldtune.console.screens.main import LabelledScreen
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.pictures import Pictures
from fieldtune.console.widgets.text_block import Part, TextBlock, assemble
from fieldtune.errors import InputError
from fieldtune.learn.hits import GROUPINGS
from fieldtune.records import RESULT_SHAPES, Shot, UnansweredShot
from fieldtune.shot_entry import check_words

if TYPE_CHECKING:
    from fieldtune.learn.hits import Hits
    from fieldtune.link.samples import Live
    from fieldtune.robot.model import Robot

Entry = UnansweredShot | Shot
_WORDS = "Newest first. ↑ ↓ or 1–9 choose a shot; i s l ← → m then say where it went"


def read_reason(text: str) -> str:
    """A typed reason; raises ``InputError`` where there is none, or none that the log takes."""
    if not text.strip():
        raise InputError("write why, in a few words: bounced out, wrong element, somebody pushed the robot")
    return check_words("a reason", text)


class _Log(OptionList, inherit_bindings=False):
    """The list, without keys of its own: which shot is chosen is the screen's to say."""


class ShotsScreen(LabelledScreen):
    """All shots; a result key is for the chosen one, and as everywhere else while none is."""

    TITLE_WORDS = "Shots"
    OWN: ClassVar[list[Binding]] = [
        Binding("up", "move(-1)", "Choose", tooltip="Choose the shot above", id="shots-up", key_display="↑ ↓"),
        Binding("down", "move(1)", "Choose", tooltip="Choose the shot below", id="shots-down", show=False),
        *(
            Binding(str(n), f"choose({n - 1})", "Choose", tooltip=f"Choose shot {n} from the top", id=f"shots-{n}",
                    show=False)
            for n in range(1, 10)
        ),
        Binding("p", "per", "Hits per", tooltip="Hits of tried per spot, target, battery, batch, match; then none",
                id="shots-per"),
        Binding("a", "all", "All open", tooltip="Choose all shots without a result", id="shots-all"),
        Binding("o", "leave_out", "Leave out", id="shots-leave-out",
                tooltip="Leave the chosen shot out of learning, with a reason, or let it count again"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._shown: tuple[object, ...] | None = None
        self._per = 0
        self._counted: object = None
        self._drawn_for: object = None

    def compose_body(self) -> ComposeResult:
        yield TextBlock((_WORDS, "$quiet"), id="log-words")
        yield TextBlock(id="hits")
        with Horizontal():
            yield _Log(id="log", markup=False)
            yield Pictures(id="log-pictures", columns=1)

    @property
    def fits_small(self) -> bool:
        """The shots stay to choose from while it is asked where one went; a doubt has to be whole."""
        return self.controller.shooting.answer is None

    @property
    def _narrow(self) -> bool:
        return self.size.width < USUAL_WIDTH

    def entries(self) -> list[Entry]:
        """Shots without a result, then all others, each newest first."""
        state = self.controller.shooting
        return [*reversed(state.unanswered), *reversed(self.controller.recorder.shots)]

    def tick(self, live: Live) -> None:
        super().tick(live)
        state, entries = self.controller.shooting, self.entries()
        self._count_hits()
        log = self.query_one("#log", _Log)
        several = {shot.uid for shot in state.chosen} if len(state.chosen) > 1 else set()
        ages_s = tuple(round(state.age_s(shot), -1) for shot in state.unanswered)
        shown = (tuple(entries), ages_s, several, self._narrow)
        if shown != self._shown:
            self._shown = shown
            log.clear_options()
            log.add_options(
                Option(self._row(number, entry, entry.uid in several)) for number, entry in enumerate(entries, 1)
            )
            if not entries:
                log.add_option(Option("no shots yet", disabled=True))
            self.call_after_refresh(log.refresh)  # it is as tall as its rows: painted again once it has that height
        self._draw()
        chosen = state.chosen[0].uid if state.chosen else None
        at = next((i for i, entry in enumerate(entries) if entry.uid == chosen), None)
        if log.highlighted != at:
            log.highlighted = at

    def _draw(self) -> None:
        """Asks for the pictures, where they are seen and the shots are others than before."""
        shots = self.controller.recorder.shots
        if self.query_one("#log-pictures").size.width and shots is not self._drawn_for:
            self._drawn_for = shots
            self.controller.background.begin("shot pictures", self._read_pictures)

    async def _read_pictures(self) -> None:
        from fieldtune.charts.learned import shot_charts

        controller = self.controller
        session, target = controller.session, controller.shooting.target
        charts = await controller.background.ask("Drawing the shots", lambda: shot_charts(session.posterior, target))
        if charts is not None and self.ready:
            self.query_one("#log-pictures", Pictures).show(*charts)

    def _row(self, number: int, entry: Entry, one_of_several: bool) -> Content:
        state, robot = self.controller.shooting, self.controller.robot
        key = f"{number} " if number < 10 else "  "
        if isinstance(entry, Shot):
            return row_in_short(entry, robot, key) if self._narrow else row(entry, robot, key)
        mark = "▶" if one_of_several else " "
        apart = "  " if self._narrow else " " * 8
        return assemble([f"{key} {mark} ? no result{apart}{words.seen_words(entry, state.age_s(entry), robot)}"])

    def action_per(self) -> None:
        """The next way to count hits; after the last, none."""
        self._per = (self._per + 1) % (len(GROUPINGS) + 1)
        self.controller.show()

    def _count_hits(self) -> None:
        """Hits of tried above the log, counted anew where shots were added; labels of the shots to come."""
        controller = self.controller
        labels = controller.shooting.labels.words
        key = (self._per, controller.recorder.shots, labels, self.size)
        if key == self._counted:
            return
        self._counted = key
        if self._per:
            controller.background.begin("hits", self._read_hits, GROUPINGS[self._per - 1], labels)
        else:
            self._show_hits(labels, [])

    async def _read_hits(self, by: str, labels: str) -> None:
        found = await self.controller.background.ask_log("Counting hits", self.controller.session.hits, by)
        if found is not None and self.ready:
            self._show_hits(labels, hit_words(found, self.size.height // 3))

    def _show_hits(self, labels: str, counted: list[Part]) -> None:
        hits = self.query_one("#hits", TextBlock)
        parts: list[Part] = [(f"Shots to come: {labels}  (^l)\n", "bold $act")] if labels else []
        hits.display = bool(parts or counted)
        hits.put(*parts, *counted)

    # choosing

    def action_choose(self, place: int) -> None:
        """Choose a shot by its place in the list."""
        entries = self.entries()
        if place < len(entries):
            self._choose(entries[place])
        else:
            self.controller.news.say(f"there is no shot {place + 1} from the top", bad=True)

    def action_move(self, by: int) -> None:
        """Choose the shot above or below; above the first, none."""
        entries, chosen = self.entries(), self.controller.shooting.chosen
        at = next((i for i, entry in enumerate(entries) if chosen and entry.uid == chosen[0].uid), -1)
        to = min(len(entries) - 1, at + by)
        if to >= 0:
            self._choose(entries[to])
        else:
            self._choose()

    def action_all(self) -> None:
        """Choose all shots without a result."""
        unanswered = self.controller.shooting.unanswered
        if not unanswered:
            self.controller.news.say("there is no shot without a result")
        self._choose(*reversed(unanswered))

    def _choose(self, *entries: Entry) -> None:
        self.controller.shooting.chosen, self.controller.shooting.answer = entries, None
        self.controller.show()

    def action_leave_out(self) -> None:
        """Leave the chosen shot out, or let it count again."""
        controller = self.controller
        shots = [shot for shot in controller.shooting.chosen if isinstance(shot, Shot)]
        if not shots:
            controller.news.say("choose a confirmed shot first, with ↑ ↓ or its number", bad=True)
        elif shots[0].undone:
            controller.news.say(f"shot {shots[0].shot} was undone: it doesn't count anyway", bad=True)
        elif shots[0].excluded is not None:
            number, session = shots[0].shot, controller.session
            controller.recorder.change(lambda _: f"shot {number} counts again", lambda: session.include(number))
        else:
            number = shots[0].shot
            asked: EntryLine[str] = EntryLine(f"Leave shot {number} out of learning: why?", read_reason)
            self.app.push_screen(asked, lambda reason: self._leave_out(number, reason))

    def _leave_out(self, number: int, reason: str | None) -> None:
        if reason is not None:
            session = self.controller.session
            self.controller.recorder.change(
                lambda _: f"shot {number} is left out", lambda: session.exclude(number, reason)
            )


def hit_words(found: Hits, most: int) -> list[Part]:
    """Hits of tried, one group a row with its 95 % interval, the most tried where not all fit in ``most`` rows."""
    groups = list(found.groups)
    if len(groups) > most:
        groups = sorted(groups, key=lambda group: -group.tried)[:most]
    parts: list[Part] = [(f"Hits of tried per {found.by}\n", "bold $act")]
    for group in (*groups, found.all):
        sure = "" if group.low is None else f"  likely {words.interval((group.low, group.high or 0.0))}"
        share = "" if group.share is None else words.percent(group.share)
        name = words.shorten(words.printable(group.name), 22)
        parts.append((f"{name:<22} {group.hits:>3} of {group.tried:<3} ", "$ink"))
        parts.append((f"{share:>5}", "bold $ink"))
        parts.append((f"{sure}\n", "$quiet"))
    if found.trend is not None:
        parts.append((f"{found.trend.words}\n", "$quiet"))
    return parts


def row_in_short(shot: Shot, robot: Robot, key: str) -> Content:
    """One shot of the log in a narrow window."""
    what = f"{key}{shot.shot:>3} {RESULT_SHAPES[shot.result]} {words.result_of(shot)}  "
    state = words.shot_state(shot)
    if state and not shot.counts:
        return assemble([(what, "dim"), (words.printable(state), "bold")])
    return assemble(
        [f"{what}{words.metres(shot.distance_m)}  {words.setpoint(shot.setpoint, robot)}  {state}".rstrip()]
    )


def row(shot: Shot, robot: Robot, key: str = "") -> Content:
    """One shot of the log as a line. No colours of its own: the chosen row has others, in each theme."""
    result = f"{RESULT_SHAPES[shot.result]} {words.result_of(shot):<16}"
    what = f"{key}{shot.shot:>4} {result}{words.metres_cell(shot.distance_m)}"
    hood = "" if shot.hood_deg is None else f"{shot.hood_deg:>6g}°"
    text = f"{what}{words.setpoint(shot.setpoint, robot):>10}{hood}  "
    labels = ", ".join(words.printable(label) for label in (shot.match, shot.batch) if label)
    text += f"{labels:<9} " if labels else ""
    state = words.shot_state(shot)
    if state and not shot.counts:  # the figures of a shot that doesn't count give way to why it doesn't
        return assemble([(text, "dim"), (words.printable(state), "bold")])
    speed = "" if shot.speed is None else f"left at {shot.speed:.0f}"
    battery = "" if shot.battery_v is None else words.volts(shot.battery_v)
    return assemble([f"{text}{speed:<13}{battery:<7} period {shot.epoch}  {state}".rstrip()])
