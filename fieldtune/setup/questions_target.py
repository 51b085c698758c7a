"""What is shot at: the questions in order, and all that differs by the kind of target."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.setup.question import Question

if TYPE_CHECKING:
    from fieldtune.setup.profile_text import ProfileText

_CM = ("cm", "in")


@frozen
class TargetKind:
    """All that a set-up asks otherwise for one kind of target. ``words``: how it is named where it is chosen.

    ``opening_how``, ``height_how``: how to measure them; without ``height_how`` the element gets there over the floor.
    ``opening``: what stands in the profile until it is measured.
    """

    words: str
    opening_how: str
    opening: str | tuple[str, str]
    height_how: str | None = None


TARGETS = {
    "basket": TargetKind(
        "A basket: level opening, entered from above", "Inner diameter, or depth and width: 36 cm, or 40 x 50 cm.",
        "36 cm", "Tape measure: floor to the opening.",
    ),
    "window": TargetKind(
        "A window: upright opening", "Width and height: 60 x 50 cm.", ("60 cm", "50 cm"),
        "Tape measure: floor to the opening's centre.",
    ),
    "zone": TargetKind(
        "A zone on the floor, to stop in", "Depth along the shot, and width across it: 40 x 50 cm.", ("40 cm", "50 cm")
    ),
    "gate": TargetKind("A gate on the floor, to pass through", "Width between its posts: 40 cm.", "40 cm"),
}  # fmt: skip
"""By the profile's word for it; a test holds them against the kinds there are."""


def target(profile: ProfileText, place: str = "target") -> Iterator[Question]:
    """What is shot at."""
    name = str(profile.value(f"{place}.kind"))
    kind = TARGETS[name]
    yield Question(
        f"{place}.kind",
        "What is the target?",
        "Where the element has to go.",
        "choice",
        options=tuple((one, asked.words) for one, asked in TARGETS.items()),
        sketch="targets",
    )
    if kind.height_how is not None:
        yield Question(f"{place}.height", "How high is it?", kind.height_how, units=_CM, sketch=name)
    yield Question(f"{place}.opening", "How large is its opening?", kind.opening_how, "sizes", units=_CM, sketch=name)
    if kind.height_how is None:
        yield Question(
            "floor.friction",
            "How much does the floor rub?",
            "Tilt the floor's stuff until the element keeps sliding: tangent of that angle.",
            "share",
            sketch="tilt",
            doubts={"friction": "40 %"},
        )
