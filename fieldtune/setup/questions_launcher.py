"""What is launched, and by what: the questions in order, and all that differs by the kind of launcher."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import field
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.setup.question import Form, Question, is_one, there
from fieldtune.units import ANGLE, ANGULAR_SPEED, FORCE, INERTIA, LENGTH, MASS, STIFFNESS, Dimension

if TYPE_CHECKING:
    from fieldtune.setup.profile_text import ProfileText

_SHAPES = (("sphere", "A ball"), ("disc", "A disc, flat and round"), ("block", "A block with six faces"))
_SURFACES = (
    ("smooth", "Smooth"),
    ("felt", "Felt"),
    ("seamed", "Seams"),
    ("dimpled", "Dimples"),
    ("perforated", "Holes"),
    ("foam", "Foam"),
)
_MM, _CM = ("mm", "in"), ("cm", "in")
_GRAMS = ("g", "oz")


def element(profile: ProfileText) -> Iterator[Question]:
    """What is launched."""
    shape = profile.value("element.shape")
    size = {"grip": "20 %", "efficiency": "30 %", "drag": "40 %"}
    yield Question(
        "element.shape", "What does it launch?", "The shape of the element.", "choice", options=_SHAPES, sketch="shapes"
    )
    if shape == "block":
        for key, word in (("length", "long"), ("width", "wide"), ("height", "high")):
            yield Question(
                f"element.{key}", f"How {word} is the block?", "Ruler along that edge.", sketch="block", doubts=size
            )
    else:
        thing = "ball" if shape == "sphere" else "disc"
        how = (
            "Two books and a ruler; turn the ball and take the mean."
            if shape == "sphere"
            else "Ruler across the middle."
        )
        yield Question("element.diameter", f"How wide is the {thing}?", how, sketch=thing, doubts=size)
        if shape == "disc":
            yield Question(
                "element.height",
                "How thick is the disc?",
                "Ruler at the edge; stack ten and divide by ten.",
                sketch="disc",
                doubts=size,
            )
    yield Question(
        "element.mass",
        "How heavy is one?",
        "Kitchen scale: weigh ten, divide by ten.",
        dimension=MASS,
        units=_GRAMS,
        sketch="scale",
        doubts={"drag": "40 %", "efficiency": "40 %"},
    )
    yield Question(
        "element.surface",
        "What is its surface like?",
        "It chooses how the air slows it.",
        "choice",
        options=_SURFACES,
        sketch="",
        doubts={"drag": "30 %"},
        asked=is_one("element.shape", "sphere"),
    )


def launcher(profile: ProfileText) -> Iterator[Question]:
    """The mechanism, by its kind."""
    yield from kind_of(profile).questions()


def _exit(height: str) -> Iterator[Question]:
    yield Question(
        "launcher.exit_height",
        "How high does it leave?",
        height,
        units=_CM,
        sketch="exit",
        doubts={"distance": "10 cm"},
    )


def _flywheel() -> Iterator[Question]:
    yield Question(
        "launcher.wheels",
        "How many wheels grip it?",
        "One wheel against a fixed rail, or a pair.",
        "choice",
        options=((2, "A pair, the element between them"), (1, "One, against a fixed rail")),
        sketch="wheels",
    )
    yield Question(
        "launcher.wheel_diameter",
        "How wide is a wheel?",
        "Ruler across the tread, as the element finds it.",
        sketch="wheel",
        doubts={"grip": "25 %"},
    )
    yield Question(
        "launcher.wheel_inertia",
        "What is a wheel's moment of inertia?",
        "Mass on a scale times radius squared: times 1 for a rim, 0.5 for a solid disc.",
        dimension=INERTIA,
        units=("kg mm^2", "lb in^2"),
        sketch="wheel",
        left_out=True,
    )
    yield Question(
        "launcher.speed_ratio",
        "How fast is the second wheel against the first?",
        "1 where both turn alike.",
        "number",
        sketch="wheels",
        left_out=True,
        usual="1",
        asked=is_one("launcher.wheels", 2),
    )
    yield Question(
        "launcher.exit_angle",
        "How steep does it leave?",
        "Phone's level along its way out; or film it from the side.",
        dimension=ANGLE,
        units=("deg", "deg"),
        sketch="angle",
        doubts={"exit_angle": "8 deg"},
    )
    yield Question(
        "hood.low",
        "Can a hood set how steep? If so, how flat at least?",
        "Phone's level at its flat end; skip this where nothing moves.",
        dimension=ANGLE,
        units=("deg", "deg"),
        sketch="angle",
        left_out=True,
    )
    yield Question(
        "hood.high",
        "And how steep at most?",
        "Phone's level at its steep end.",
        dimension=ANGLE,
        units=("deg", "deg"),
        sketch="angle",
        asked=there("hood"),
    )
    yield from _exit("Tape measure: floor to the element's centre where it leaves the wheels.")


def _striker() -> Iterator[Question]:
    yield Question(
        "launcher.contact",
        "Does it hit, or push?",
        "What the slider does to the element.",
        "choice",
        options=(("strike", "Hits it and lets go"), ("push", "Stays in contact until the stop")),
        sketch="striker",
    )
    yield Question(
        "launcher.striker_mass",
        "How heavy is all that moves?",
        "Scale: slider and all on it, without the spring.",
        dimension=MASS,
        units=_GRAMS,
        sketch="striker",
        doubts={"efficiency": "25 %"},
    )
    yield Question(
        "launcher.spring_rate",
        "How stiff is the spring?",
        "Hang a known mass on it: 9.81 N a kilogram over the millimetres it gives way.",
        dimension=STIFFNESS,
        units=("N/mm", "lbf/in"),
        sketch="striker",
        doubts={"efficiency": "30 %"},
    )
    yield Question(
        "launcher.preload",
        "How hard does it press at its stop?",
        "Luggage scale: pull the slider just off its stop.",
        dimension=FORCE,
        units=("N", "lbf"),
        sketch="striker",
        doubts={"efficiency": "20 %"},
    )
    yield Question(
        "launcher.spring_mass",
        "How heavy is the spring?",
        "Scale.",
        dimension=MASS,
        units=_GRAMS,
        sketch="striker",
        left_out=True,
    )
    yield from _draws("Ruler along the slider")


def _arm() -> Iterator[Question]:
    yield Question(
        "launcher.arm_length",
        "How long is the arm?",
        "Tape measure: pivot to the element's centre.",
        units=_CM,
        sketch="arm",
        doubts={"efficiency": "20 %"},
    )
    yield Question(
        "launcher.arm_inertia",
        "What is the arm's moment of inertia?",
        "About the pivot: mass on a scale times length squared, over 3 for an even bar.",
        dimension=INERTIA,
        units=("kg m^2", "lb in^2"),
        sketch="arm",
        doubts={"efficiency": "25 %"},
    )
    yield Question(
        "launcher.release_angle",
        "How steep is the arm where it stops?",
        "Phone's level on the arm, above the horizontal.",
        dimension=ANGLE,
        units=("deg", "deg"),
        sketch="arm",
        doubts={"exit_angle": "8 deg"},
    )
    yield from _exit("Tape measure: floor to the element's centre at release.")
    yield Question(
        "launcher.spring_rate",
        "How stiff is what drives it, at the tip?",
        "Luggage scale at the tip, along its arc: newtons (9.81 a kilogram) over metres.",
        dimension=STIFFNESS,
        units=("N/m", "lbf/in"),
        sketch="arm",
        doubts={"efficiency": "30 %"},
        asked=lambda profile: profile.value("launcher.torque") is None,
    )
    yield Question(
        "launcher.preload",
        "How hard does it press at release?",
        "Luggage scale at the tip in the release position.",
        dimension=FORCE,
        units=("N", "lbf"),
        sketch="arm",
        doubts={"efficiency": "20 %"},
    )
    yield from _draws("Tape along the tip's arc, from release back", ("cm", "in"))


def _draws(how: str, units: tuple[str, str] = _MM) -> Iterator[Question]:
    yield Question("launcher.draw_min", "What is the shortest draw it uses?", f"{how}.", units=units, sketch="draw")
    yield Question(
        "launcher.draw_max",
        "What is the longest draw?",
        f"{how}; a spring must not be solid there.",
        units=units,
        sketch="draw",
    )


@frozen
class Setpoints:
    """What the limits of the setpoint are asked as: what is set, and how a value is read."""

    what: str
    form: Form = "quantity"
    dimension: Dimension = LENGTH
    unit: str = "mm"


DRAW = Setpoints("draw")
WHEEL_SPEED = Setpoints("wheel speed", dimension=ANGULAR_SPEED, unit="rpm")
POWER = Setpoints("drive power in %", "share")


@frozen
class LauncherKind:
    """All that a set-up asks otherwise for one kind of launcher. ``words``: how it is named where it is chosen.

    ``controls``: setpoints by the profile's ``drive.control``, where the program has a choice; ``counts``: whether an
    encoder's counts tell its speed.
    """

    words: str
    questions: Callable[[], Iterator[Question]]
    setpoints: Setpoints = DRAW
    controls: dict[str, Setpoints] = field(default_factory=dict)
    counts: bool = False


LAUNCHERS = {
    "flywheel": LauncherKind(
        "Turning wheels grip and throw it", _flywheel, WHEEL_SPEED, {"speed": WHEEL_SPEED, "power": POWER}, counts=True
    ),
    "striker": LauncherKind("A spring drives a slider at it", _striker),
    "arm": LauncherKind("An arm swings and throws it from its tip", _arm),
}
"""By the profile's word for it; a test holds them against the kinds there are."""
KIND = Question(
    "launcher.kind",
    "How does it launch?",
    "The mechanism that gives the element its speed.",
    "choice",
    options=tuple((kind, one.words) for kind, one in LAUNCHERS.items()),
    sketch="kinds",
)


def kind_of(profile: ProfileText) -> LauncherKind:
    """What is asked for this profile's launcher."""
    return LAUNCHERS[str(profile.value("launcher.kind"))]
