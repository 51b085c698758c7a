"""All values of a robot on one list: any of them can be changed, by the same question as in its set-up."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding

from fieldtune.console import words
from fieldtune.console.screens.set_up_frame import ListScreen
from fieldtune.console.widgets.entry_line import Question as YesNo
from fieldtune.console.widgets.text_block import Part
from fieldtune.errors import FieldtuneError

if TYPE_CHECKING:
    from fieldtune.setup.set_up import SetUp

_KEYS = [
    Binding(
        "enter",
        "choose",
        "Change",
        tooltip="Change the marked value",
        id="edit-change",
        priority=True,
        key_display="Enter",
    ),
    Binding("s", "save", "Save", tooltip="Write the profile: comments and all else stay", id="edit-save"),
    Binding("r", "again", "Read again", tooltip="Forget changes and read the file again", id="edit-again"),
    Binding("escape", "leave", "Back", tooltip="Back to the list of robots", id="edit-leave", key_display="Esc"),
]


_NARROW = 76


class EditScreen(ListScreen):
    """The list of values; what was changed is written when it is saved, and only then."""

    OWN: ClassVar[list[list[Binding]]] = [_KEYS]

    def __init__(self, set_up: SetUp) -> None:
        super().__init__()
        self.set_up = set_up
        self._before = "" if set_up.profile is None else set_up.profile.text

    def on_mount(self) -> None:
        """The list."""
        self._fill()

    def _fill(self) -> None:
        made, rows = self.set_up, []
        assert made.profile is not None
        problems = {one.key: one for one in reversed(made.profile.check()[1])}
        for question in made.all:
            value = made.now(question)
            guess = value and made.profile.is_unmeasured(question.key)
            parts: list[Part] = [(f"{question.table:<9} ", "$quiet"), (f"{question.ask:<46} ", "$ink")]
            if self.size.width < _NARROW:
                parts = [(f"{words.shorten(question.ask, 24):<24} ", "$ink")]
            parts.append((words.printable(value) or "not known", "bold $ink" if value else "$quiet"))
            parts.append((" not measured" if guess else "", "$act"))
            if question.key in problems:
                bad = problems[question.key].severity == "error"
                parts.append((f"  {'✗' if bad else '!'} {problems[question.key].message}", "$bad"))
            rows.append((question.key, parts))
        self.put_rows(rows)
        changed = made.profile.text != self._before
        self.head(f"Change {made.name}", ("   changed: s saves it" if changed else "", "bold $act"))
        elsewhere = [
            one for one in problems.values() if one.severity == "error" and one.key not in {q.key for q in made.all}
        ]
        if elsewhere:
            self.say(f"{elsewhere[0].key}: {elsewhere[0].message}", bad=True)

    def action_choose(self) -> None:
        """Asks the question of the marked row."""
        from fieldtune.console.screens.set_up import SetUpScreen

        if self.marked is not None:
            self.set_up.go_to(self.set_up.all[self.marked].key)
            if self.set_up.at == "spots":
                self.set_up.begin_spots()
            self.app.push_screen(SetUpScreen(self.set_up), self._asked)

    def _asked(self, _: Path | None) -> None:
        self._fill()

    def action_save(self) -> None:
        """Writes the file, if nobody else changed it meanwhile."""
        assert self.set_up.profile is not None
        changed = changed_keys(self._before, self.set_up)
        try:
            path = self.set_up.finish()
        except FieldtuneError as error:
            self.say(str(error), bad=True)
            return
        self._before = self.set_up.profile.text
        self._fill()
        said = f"saved: {path}"
        if changed and path.with_suffix(".db").exists():
            said += f". Shots so far were learned under the old {', '.join(changed)}"
        self.say(said)

    def action_again(self) -> None:
        """Reads the file anew."""
        from fieldtune.setup.profile_text import ProfileText

        assert self.set_up.profile is not None
        try:
            self.set_up.profile = ProfileText.at(self.set_up.profile.path)
        except FieldtuneError as error:
            self.say(str(error), bad=True)
            return
        self._before = self.set_up.profile.text
        self._fill()
        self.say("read again from the file")

    def action_leave(self) -> None:
        """Back; asks first where something was changed and not saved."""
        assert self.set_up.profile is not None
        if self.set_up.profile.text != self._before:
            self.app.push_screen(YesNo("Leave without saving what was changed?"), self._leave)
        else:
            self.dismiss(self.set_up.profile.path)

    def _leave(self, yes: bool | None) -> None:
        if yes:
            self.dismiss(None)


def changed_keys(before: str, set_up: SetUp) -> list[str]:
    """Names of the values that are others now than in that text."""
    import tomllib

    assert set_up.profile is not None
    old, new = tomllib.loads(before), set_up.profile.values()
    found = []
    for table in new:
        if isinstance(new[table], dict) and table in ("element", "launcher", "drive", "target", "floor", "encoder"):
            was = old.get(table, {})
            found += [key.replace("_", " ") for key in new[table] if was.get(key) != new[table][key]]
    return found
