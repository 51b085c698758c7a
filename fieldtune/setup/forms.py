"""How an answer is read, by the form of its question, and put into the profile."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldtune.errors import InputError
from fieldtune.setup import answers
from fieldtune.setup.profile_text import shown_value
from fieldtune.setup.questions_target import TARGETS
from fieldtune.units import shown

if TYPE_CHECKING:
    from fieldtune.setup.profile_text import ProfileText
    from fieldtune.setup.question import Question

_SHAPES = {
    "sphere": {"diameter": "58 mm"},
    "disc": {"diameter": "90 mm", "height": "18 mm"},
    "block": {"length": "60 mm", "width": "44 mm", "height": "36 mm"},
}


def read(question: Question, text: str, us: bool, spots: int = 0) -> tuple[Any, str]:
    """The answer as the profile has it, and as it is shown back. ``spots``: how many were named already.

    Raises ``InputError`` with what is wrong.
    """
    unit, form = question.units[us], question.form
    if form in ("choice", "table"):
        chosen = option(question, answers.one_line(text))
        return chosen, dict(question.options)[chosen]
    if form == "sizes":
        sizes = answers.sizes(text, unit)
        return sizes, ", ".join(answers.in_both(one, question.dimension, us) for one in listed(sizes))
    if form == "spots":
        name, distance = answers.spot(text, unit, spots)
        return (name, distance), f"{name}: {answers.in_both(distance, question.dimension, us)}"
    if form == "quantity":
        said = answers.with_unit(text, question.dimension, unit)
        return said, answers.in_both(said, question.dimension, us)
    value: Any = {"share": answers.share, "whole": answers.whole, "number": answers.number,
                  "gears": answers.gears, "text": answers.one_line}[form](text)  # fmt: skip
    if question.table == "setpoint" and not isinstance(value, str):
        value = f"{value:g} %"
    return value, shown_value(value) or "none"


def option(question: Question, text: str) -> str | int:
    """The option that was typed or whose number was pressed. Raises ``InputError``."""
    wanted = text.casefold()
    for number, (value, words) in enumerate(question.options, 1):
        if wanted in (str(value), words.casefold()) or (wanted == str(number) and isinstance(value, str)):
            return value
    raise InputError(f"found {shown(text)}; expected {', '.join(str(value) for value, _ in question.options)}")


def put(profile: ProfileText, question: Question, value: Any, spots: int = 0) -> None:
    """Puts a value in its place, and whatever else has to change with it: the keys of another shape or target."""
    key = question.key
    if question.form == "table":
        (profile.restore_table if value == "yes" else profile.remove)(question.table)
    elif question.form == "spots":
        if spots == 0:
            profile.clear("spots")
        profile.set(f"spots[{spots + 1}].name", value[0])
        profile.set(f"spots[{spots + 1}].distance", value[1])
    else:
        profile.set(key, value)
        if key == "element.shape":
            _fit(profile, "element", _SHAPES[str(value)], {name for keys in _SHAPES.values() for name in keys})
        if key.endswith(".kind") and key.startswith("target"):
            _fit_target(profile, key.removesuffix(".kind"), str(value))


def _fit_target(profile: ProfileText, place: str, kind: str) -> None:
    asked = TARGETS[kind]
    flies = asked.height_how is not None
    _fit(profile, place, {"height": "95 cm"} if flies else {}, {"height"})
    profile.set(f"{place}.opening", asked.opening if isinstance(asked.opening, str) else list(asked.opening))
    if not flies and profile.value("floor.friction") is None:
        profile.set("floor.friction", 0.25)


def _fit(profile: ProfileText, table: str, wanted: dict[str, str], every: set[str]) -> None:
    """Keys that a shape or kind has are there, with placeholders, and no others of them."""
    for name in every - set(wanted):
        profile.remove(f"{table}.{name}")
    for name, value in wanted.items():
        if profile.value(f"{table}.{name}") is None:
            profile.set(f"{table}.{name}", value)


def listed(value: str | list[str]) -> list[str]:
    """One or several as a list."""
    return [value] if isinstance(value, str) else value
