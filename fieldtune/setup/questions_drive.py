"""What turns or cocks the launcher, and what the robot program accepts: the questions in order."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from fieldtune.setup.question import Question, there
from fieldtune.setup.questions_launcher import kind_of
from fieldtune.units import ANGULAR_SPEED, CURRENT, RESISTANCE, TORQUE, VOLTAGE

if TYPE_CHECKING:
    from fieldtune.setup.profile_text import ProfileText


def drive(profile: ProfileText) -> Iterator[Question]:
    """Motors and gears."""
    yield Question(
        "drive?",
        "Is the motor's data sheet at hand?",
        "It tells what battery and gears let the launcher do.",
        "table",
        options=(("yes", "Yes"), ("no", "No: leave motors and gears out")),
        sketch="gears",
    )
    if profile.value("drive") is None:
        return
    if kind_of(profile).controls:
        yield Question(
            "drive.control",
            "How does the program set the wheel?",
            "What the setpoint is.",
            "choice",
            options=(
                ("speed", "It holds a speed, by the encoder"),
                ("power", "It gives a share of the battery's voltage"),
            ),
            sketch="gears",
        )
    sheet = "From the data sheet, one motor at its own shaft"
    yield Question("drive.motors", "How many motors?", "On this launcher, all together.", "whole", sketch="gears")
    yield Question(
        "drive.nominal_voltage",
        "For which voltage is its data sheet?",
        f"{sheet}.",
        dimension=VOLTAGE,
        units=("V", "V"),
        sketch="motor",
        doubts={},
    )
    yield Question(
        "drive.no_load_speed",
        "How fast without load?",
        f"{sheet}.",
        dimension=ANGULAR_SPEED,
        units=("rpm", "rpm"),
        sketch="motor",
    )
    yield Question(
        "drive.stall_torque",
        "Which torque at standstill?",
        f"{sheet}.",
        dimension=TORQUE,
        units=("N m", "ozf in"),
        sketch="motor",
    )
    yield Question(
        "drive.stall_current",
        "Which current at standstill?",
        f"{sheet}.",
        dimension=CURRENT,
        units=("A", "A"),
        sketch="motor",
    )
    yield Question(
        "drive.no_load_current",
        "Which current without load?",
        f"{sheet}.",
        dimension=CURRENT,
        units=("A", "A"),
        sketch="motor",
        left_out=True,
    )
    yield Question(
        "drive.gears",
        "Which gears, motor first?",
        "Count teeth, driving:driven a stage: 22:33 20:28; none if direct.",
        "gears",
        sketch="gears",
    )


def battery(profile: ProfileText) -> Iterator[Question]:
    """The battery."""
    chemistries = (
        ("nimh", "Nickel-metal hydride"),
        ("lead-acid", "Lead-acid"),
        ("li-ion", "Lithium-ion or -polymer"),
        ("lifepo4", "Lithium iron phosphate"),
    )
    yield Question(
        "battery.chemistry",
        "Which battery?",
        "Printed on it.",
        "choice",
        options=chemistries,
        sketch="battery",
        left_out=True,
    )
    yield Question(
        "battery.cells",
        "How many cells in a row?",
        "Printed on it as S; or its voltage over a cell's.",
        "whole",
        sketch="battery",
        asked=there("battery"),
    )
    yield Question(
        "battery.resistance",
        "What is its resistance?",
        "Volts at rest less volts under load, over the amperes of that load.",
        dimension=RESISTANCE,
        units=("mohm", "mohm"),
        sketch="battery",
        left_out=True,
        asked=there("battery"),
    )


def encoder(profile: ProfileText) -> Iterator[Question]:
    """The wheel's encoder."""
    if not kind_of(profile).counts:
        return
    yield Question(
        "encoder?",
        "Does the robot send an encoder's counts?",
        "The raw count; a robot that sends rpm needs none of this.",
        "table",
        options=(("yes", "Yes, counts"), ("no", "No: rpm, or nothing")),
        sketch="encoder",
    )
    if profile.value("encoder") is not None:
        yield Question(
            "encoder.counts_per_turn",
            "How many counts a turn?",
            "Of the encoder's own shaft, after x4 decoding. It is measured later, whatever is typed.",
            "number",
            sketch="encoder",
        )
        yield Question(
            "encoder.on",
            "Where does it sit?",
            "On which shaft.",
            "choice",
            options=(("motor", "On the motor"), ("wheel", "On the wheel")),
            sketch="encoder",
        )


def setpoints(profile: ProfileText) -> Iterator[Question]:
    """What the robot program accepts."""
    kind = kind_of(profile)
    asked = kind.controls.get(str(profile.value("drive.control")), kind.setpoints)
    for key, word in (("low", "lowest"), ("high", "highest"), ("step", "smallest step of")):
        yield Question(
            f"setpoint.{key}",
            f"What is the {word} {asked.what}?",
            "That the robot program accepts.",
            asked.form,
            dimension=asked.dimension,
            units=(asked.unit, asked.unit),
            sketch="",
            left_out=True,
        )
