"""A robot set up question by question: each answer checked at once, kept on the disk, and free to be gone back to."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.errors import FieldtuneError, InputError, OutputError, UnitError
from fieldtune.files import write_whole
from fieldtune.frozen import frozen
from fieldtune.robot.profile import NAME_RULE, is_name
from fieldtune.robot.starter import new_profile_text
from fieldtune.setup import answers, forms
from fieldtune.setup.profile_text import ProfileText, shown_value
from fieldtune.setup.question import NAME, SPOTS, Question
from fieldtune.setup.questions_drive import battery, drive, encoder, setpoints
from fieldtune.setup.questions_launcher import KIND, element, launcher
from fieldtune.setup.questions_target import target
from fieldtune.units import ANGLE, RATIO, parse, shown

if TYPE_CHECKING:
    from fieldtune.robot.table_reader import Problem
    from fieldtune.units import Dimension

DRAFT = ".set-up"
"""Ending of the file that holds a set-up that was left half-way."""
_HEAD = "# A set-up left half-way; the console goes on with it. Next: "


@frozen
class Reply:
    """What became of an answer. ``said``: the value in both systems, or what is wrong; ``offer``: what was meant."""

    taken: bool
    said: str
    offer: str | None = None


def questions(profile: ProfileText) -> list[Question]:
    """All questions that this profile calls for, in order; the answers so far decide which those are."""
    asked = [*element(profile), *launcher(profile), *drive(profile), *battery(profile), *encoder(profile)]
    several = profile.value("targets")
    places = [f"targets.{name}" for name in several] if isinstance(several, dict) else ["target"]
    for place in places:
        asked += target(profile, place)
    asked += [*setpoints(profile), SPOTS]
    return [question for question in asked if question.asked(profile)]


class SetUp:
    """The questions of one robot and where one is among them. ``us``: bare numbers are in US customary units.

    Made for a new robot, for a draft (``resumed``) or for a profile that is there (``editing``). Every answer is kept
    as a draft beside the profiles; ``finish`` makes the profile of it.
    """

    def __init__(self, home: Path, us: bool = False, profile: ProfileText | None = None, editing: bool = False) -> None:
        self.home, self.us, self.editing = home, us, editing
        self.name: str | None = None if profile is None else profile.path.stem
        self.profile = profile
        self.at = NAME.key if profile is None else questions(profile)[0].key
        self._warned: set[str] = set()
        self._spots = 0

    @classmethod
    def resumed(cls, draft: Path, us: bool = False) -> SetUp:
        """Goes on with a draft; raises ``ProfileError`` where it can't be read."""
        read = ProfileText.at(draft)
        head, _, text = read.text.partition("\n")
        profile = ProfileText(text, draft.with_suffix(".toml"))
        made = cls(draft.parent, us, profile)
        wanted = head.removeprefix(_HEAD).strip()
        made.at = wanted if any(one.key == wanted for one in made.all) else made.at
        made._spots = len(profile.value("spots") or ()) if made.at == SPOTS.key else 0
        return made

    # -- where one is

    @property
    def all(self) -> list[Question]:
        """All questions, the robot's name and kind first for a new one."""
        if self.profile is None:
            return [NAME, KIND]
        return questions(self.profile) if self.editing else [NAME, KIND, *questions(self.profile)]

    @property
    def here(self) -> Question | None:
        """The question that is asked now; None when all are answered."""
        return next((one for one in self.all if one.key == self.at), None)

    @property
    def place(self) -> tuple[int, int]:
        """Number of the question, and how many there are, as far as it is known."""
        keys = [one.key for one in self.all]
        return (keys.index(self.at) + 1 if self.at in keys else len(keys)), max(len(keys), 24 if len(keys) == 2 else 0)

    def back(self) -> bool:
        """To the question before; whether there is one."""
        keys = [one.key for one in self.all]
        number = keys.index(self.at) if self.at in keys else len(keys)
        if number == 0:
            return False
        self.at = keys[number - 1]
        return True

    def go_to(self, key: str) -> None:
        """To that question."""
        self.at = key
        self._spots = len(self.profile.value("spots") or ()) if self.profile and key == SPOTS.key else 0

    def begin_spots(self) -> None:
        """The spots are named anew: the first answer takes the place of all that there are."""
        self._spots = 0

    def now(self, question: Question) -> str:
        """The answer that stands, as it would be typed; empty where none was given."""
        if question is NAME:
            return self.name or ""
        if self.profile is None:
            return ""
        if question.form == "table":
            return "no" if self.profile.value(question.table) is None else "yes"
        if question is SPOTS:
            return ", ".join(f"{one.get('name')} {one.get('distance')}" for one in self.profile.value("spots") or ())
        value = self.profile.value(question.key)
        return "" if value is None else shown_value(value)

    def answered(self, question: Question) -> bool:
        """Whether the value there is the person's and no placeholder."""
        if self.editing:
            return self.profile is not None and not self.profile.is_unmeasured(question.key)
        keys = [one.key for one in self.all]
        before = self.at not in keys or keys.index(question.key) < keys.index(self.at)
        return before and not (self.profile is not None and self.profile.is_unmeasured(question.key))

    # -- answering

    def preview(self, text: str) -> str:
        """What is typed so far, in both systems; empty while it is no answer yet."""
        question = self.here
        if question is None or question.form not in ("quantity", "sizes") or not text.strip():
            return ""
        try:
            return forms.read(question, text, self.us)[1]
        except FieldtuneError:
            return ""

    def answer(self, text: str) -> Reply:
        """Takes an answer to the question here, if it passes the checks, and goes on to the next."""
        question = self.here
        if question is None:
            return Reply(False, "everything is answered")
        try:
            if question is NAME:
                return self._name(text)
            if question.key == KIND.key and not self.editing:
                return self._kind(answers.one_line(text))
            if not text.strip() and question.usual is not None:
                text = question.usual
            if question is SPOTS and not text.strip() and self._spots:
                return self._next(question, "")
            return self._value(question, text)
        except InputError as error:
            return Reply(False, str(error))

    def skip(self) -> Reply:
        """Not known: the placeholder stays with a wide uncertainty, or the key is left out."""
        question, profile = self.here, self.profile
        if question is None or profile is None or not (question.can_be_unknown or question.table == "drive"):
            return Reply(False, "this one has to be known before the robot can be used")
        if question.form in ("choice", "table") and not question.can_be_unknown:
            return Reply(False, "choose one")
        if not question.can_be_unknown:
            profile.remove("drive")
            self.at = next(one.key for one in self.all if one.table == "battery")
            return self._keep("not known: motors and gears left out")
        if question is SPOTS:
            profile.clear("spots")
        elif question.left_out:
            profile.remove(question.table if question.key == "battery.chemistry" else question.key)
        else:
            profile.mark_unmeasured(question.key)
        for key, spread in question.doubts.items():
            self._widen(f"uncertainty.{key}", spread, ANGLE if "angle" in key else RATIO if "%" in spread else None)
        wide = "; ".join(f"{key} ± {spread}" for key, spread in question.doubts.items())
        return self._next(question, f"not known: {wide or 'left out'}")

    def _name(self, text: str) -> Reply:
        name = answers.one_line(text).casefold().replace(" ", "-").replace("_", "-")
        if not is_name(name):
            device = re.fullmatch(r"con|prn|aux|nul|(com|lpt)\d", name)
            why = "a name that Windows keeps for a device" if device else f"expected {NAME_RULE}, such as heron"
            raise InputError(f"found {shown(text.strip())}; {why}")
        if name != self.name and any((self.home / f"{name}{end}").exists() for end in (".toml", ".db", DRAFT)):
            raise InputError(f"there is a robot called {name} already; take another name")
        if self.profile is not None and name != self.name:
            self._drop_draft()
            self.profile.path = self.home / f"{name}.toml"
            self.profile.set("title", name.replace("-", " ").capitalize())
        self.name = name
        return self._next(NAME, name)

    def _kind(self, text: str) -> Reply:
        assert self.name is not None
        kind = forms.option(KIND, text)
        if self.profile is None or self.profile.value("launcher.kind") != kind:
            path = self.home / f"{self.name}.toml"
            self.profile = ProfileText(new_profile_text(self.name, str(kind)), path)
        return self._next(KIND, str(kind))

    def _value(self, question: Question, text: str) -> Reply:
        assert self.profile is not None
        try:
            value, shown_back = forms.read(question, text, self.us, self._spots)
        except UnitError as error:
            return self._offered(str(error), self._meant(question, text))
        before = self.profile.text
        forms.put(self.profile, question, value, self._spots)
        wrong = self._problems(question)
        if wrong:
            self.profile.text, tried = before, self.profile.text
            errors = [problem for problem in wrong if problem.severity == "error"]
            offer = self._meant(question, text)
            if errors or (offer is not None and f"{question.key} {text}" not in self._warned):
                self._warned.add(f"{question.key} {text}")
                return self._offered((errors or wrong)[0].message, offer)
            if f"{question.key} {text}" not in self._warned:
                self._warned.add(f"{question.key} {text}")
                return Reply(False, f"{wrong[0].message}. Enter again takes it all the same")
            self.profile.text = tried
        if question is SPOTS:
            self._spots += 1
            return self._keep(f"{shown_back}. The next, or Enter alone to end")
        return self._next(question, shown_back)

    def _meant(self, question: Question, text: str) -> str | None:
        """The answer in the unit that was probably meant: 240 cm where 240 m can't be."""
        parts = re.fullmatch(r"(.*?)([+-]?[\d.]+\s*\D*)", text.strip())
        if parts is None or question.form not in ("quantity", "spots"):
            return None
        name = parts[1] if question is SPOTS else ""
        number = parts[2] if question is SPOTS else text
        with contextlib.suppress(FieldtuneError):
            number = answers.with_unit(number, question.dimension, question.units[self.us])
        offer = answers.near_miss(number, question.dimension, lambda said: not self._doubts(question, name + said))
        return None if offer is None else name + offer

    @staticmethod
    def _offered(message: str, offer: str | None) -> Reply:
        return Reply(False, message + ("" if offer is None else f": did you mean {offer}? Enter takes that"), offer)

    def _doubts(self, question: Question, text: str) -> list[Problem]:
        """What the checks would say of this answer."""
        assert self.profile is not None
        before = self.profile.text
        try:
            forms.put(self.profile, question, forms.read(question, text, self.us, self._spots)[0], self._spots)
            return self._problems(question)
        finally:
            self.profile.text = before

    def _problems(self, question: Question) -> list[Problem]:
        """What ``check`` finds at this key, and errors at keys that were answered before."""
        assert self.profile is not None
        keys = [one.key for one in self.all]
        done = set(keys if self.editing else keys[: keys.index(self.at)] if self.at in keys else keys)
        found = self.profile.check()[1]
        here = [one for one in found if one.key == question.key or one.key.startswith(f"{question.key}[")]
        return here + [one for one in found if one.severity == "error" and one.key in done - {question.key}]

    def _widen(self, key: str, spread: str, dimension: Dimension | None) -> None:
        assert self.profile is not None
        from fieldtune.units import LENGTH

        kind, now = dimension or LENGTH, self.profile.value(key)
        with contextlib.suppress(FieldtuneError):
            if now is not None and parse(now, kind) >= parse(spread, kind):
                return
        self.profile.set(key, spread)

    # -- keeping

    def _next(self, question: Question, said: str) -> Reply:
        keys = [one.key for one in self.all]
        number = keys.index(question.key) if question.key in keys else -1
        self.go_to(keys[number + 1] if number + 1 < len(keys) else "")
        if self.at == SPOTS.key and not self.editing:
            self._spots = 0
        return self._keep(said)

    def _keep(self, said: str) -> Reply:
        """Puts the draft on the disk; where that fails it is said, and nothing is lost that was answered."""
        if self.profile is None or self.editing:
            return Reply(True, said)
        try:
            self.home.mkdir(parents=True, exist_ok=True)
            write_whole(self.draft, f"{_HEAD}{self.at}\n{self.profile.text}", force=True)
        except (OutputError, OSError) as error:
            return Reply(True, f"{said}. Can't be kept for later: {error}")
        return Reply(True, said)

    @property
    def draft(self) -> Path:
        """The file that keeps a set-up left half-way."""
        return self.home / f"{self.name}{DRAFT}"

    def _drop_draft(self) -> None:
        with contextlib.suppress(OSError):
            self.draft.unlink(missing_ok=True)

    def faults(self) -> list[Problem]:
        """What keeps the profile from being used."""
        return [] if self.profile is None else [one for one in self.profile.check()[1] if one.severity == "error"]

    def finish(self) -> Path:
        """Makes the profile; raises ``OutputError`` where it can't be written, ``InputError`` while it has errors."""
        assert self.profile is not None
        wrong = self.faults()
        if wrong:
            self.go_to(next((one.key for one in self.all if one.key == wrong[0].key), self.at))
            raise InputError(f"{wrong[0].key}: {wrong[0].message}")
        self.profile.save()
        self._drop_draft()
        return self.profile.path
