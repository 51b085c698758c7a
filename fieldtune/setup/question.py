"""One question of a set-up: what is asked, how to measure it, and what follows where it isn't known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field
from typing import TYPE_CHECKING, Literal

from fieldtune.frozen import frozen
from fieldtune.units import LENGTH, Dimension

if TYPE_CHECKING:
    from fieldtune.setup.profile_text import ProfileText

Form = Literal["quantity", "share", "whole", "number", "choice", "gears", "sizes", "text", "spots", "table"]


@frozen
class Question:
    """One question. ``key``: where its answer stands in the profile.

    ``how``: what to measure with, and where. ``units``: of a bare number, metric and US. ``options``: of a choice,
    value and words. ``sketch``: the drawing that shows it. ``doubts``: uncertainty by key where it isn't known;
    ``left_out``: the key is left out then; with neither it has to be known. ``usual``: what Enter alone takes.
    """

    key: str
    ask: str
    how: str
    form: Form = "quantity"
    dimension: Dimension = LENGTH
    units: tuple[str, str] = ("mm", "in")
    options: tuple[tuple[str | int, str], ...] = ()
    sketch: str = ""
    doubts: dict[str, str] = field(default_factory=dict)
    left_out: bool = False
    usual: str | None = None
    asked: Callable[[ProfileText], bool] = lambda profile: True

    @property
    def table(self) -> str:
        """Which part of the profile it belongs to."""
        return self.key.split(".")[0].split("[")[0].rstrip("?")

    @property
    def can_be_unknown(self) -> bool:
        """Whether it may be skipped."""
        return bool(self.doubts) or self.left_out


NAME = Question(
    "name", "What is the robot called?", "Its files get that name: a to z, 0 to 9 and -, such as heron.", "text"
)


def is_one(key: str, *values: object) -> Callable[[ProfileText], bool]:
    """Asked only where the profile has one of these values there."""
    return lambda profile: profile.value(key) in values


def there(table: str) -> Callable[[ProfileText], bool]:
    """Asked only where the profile has that table."""
    return lambda profile: profile.value(table) is not None


SPOTS = Question(
    "spots",
    "From where is it shot?",
    "A name and the distance, element at exit to target: near line 1.8 m. Enter alone ends.",
    "spots",
    units=("m", "ft"),
    sketch="spots",
    left_out=True,
)
