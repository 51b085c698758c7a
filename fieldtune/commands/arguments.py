"""Reading the command line: quantities with units, and mistakes told in one line with the remedy."""

from __future__ import annotations

import argparse
import itertools
import re
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, Any, NoReturn

from fieldtune.errors import InputError, UnitError
from fieldtune.plain_text import say

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

Run = Callable[[argparse.Namespace], int | None]
Commands = "argparse._SubParsersAction[Parser]"


class Parser(argparse.ArgumentParser):
    """An argument parser whose mistakes are ``InputError`` and which reads ``--miss -12cm`` as a quantity."""

    def __init__(self, *args: object, **kwargs: object) -> None:
        kwargs.setdefault("allow_abbrev", False)
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Refuses an unknown option before anything is found missing that it was meant to be."""
        for word in itertools.takewhile(self._is_ours, args or ()):
            option = word.partition("=")[0]
            if option.startswith("--") and option not in self._option_string_actions:
                near = _closest(option, self._option_string_actions)
                self.error(f"unknown option {option}{f'; did you mean {near[0]}?' if near else ''}")
        return super().parse_known_args(args, namespace)

    def _is_ours(self, word: str) -> bool:
        """Whether a word is still this parser's to read: not behind ``--``, and not behind a command's name."""
        return word != "--" and not any(word in (action.choices or ()) for action in self._subcommands())

    def _subcommands(self) -> list[argparse.Action]:
        return [action for action in self._actions if isinstance(action, argparse._SubParsersAction)]

    def _print_message(self, message: str, file: Any = None) -> None:
        """Help goes the way of everything that is printed; argparse swallows what goes wrong."""
        if message:
            say(message, end="")

    def error(self, message: str) -> NoReturn:
        """Refuses the command line in one line."""
        choice = re.search(r"invalid choice: '(.*?)' \(choose from (.*)\)", message)
        if choice:
            known = re.findall(r"[\w-]+", choice[2])
            near = _closest(choice[1].casefold(), known)
            hint = f"did you mean {near[0]}?" if near else f"there are: {', '.join(known)}"
            message = message.replace(choice[0], f"{choice[1]!r} is unknown; {hint}")
            if self._subcommands():
                console = f"to open the console on a robot: fieldtune console {choice[1]}"
                message = f"there is no command {choice[1]!r}; {hint if near else console}"
        raise InputError(f"{message} ('{self.prog} --help' shows how to write it)")


def _closest(word: str, known: Iterable[str]) -> list[str]:
    import difflib

    return difflib.get_close_matches(word, list(known), 1)


def declare(
    commands: argparse._SubParsersAction[Parser], name: str, run: Run, words: str, *, json: bool = True
) -> Parser:
    """A new command with the options that all share."""
    parser = commands.add_parser(name, help=words, description=words[0].upper() + words[1:] + ".")
    parser.set_defaults(run=run)
    # SUPPRESS: also accepted behind the command, without undoing what stood before it.
    parser.add_argument(
        "--profiles", metavar="DIR", default=argparse.SUPPRESS, help="folder of robot profiles and their logs"
    )
    parser.add_argument(
        "--units",
        choices=("metric", "us"),
        default=argparse.SUPPRESS,
        help="units of all text, and of a table for a robot program; JSON stays SI",
    )
    if json:
        parser.add_argument("--json", action="store_true", help="print one JSON object")
    return parser


def add_robot(parser: argparse.ArgumentParser, *, optional: bool = False) -> None:
    """The ROBOT argument: a profile's name, or its path."""
    parser.add_argument(
        "robot", metavar="ROBOT", nargs="?" if optional else None, help="a robot's name, or the path of its profile"
    )


def add_quantity(
    parser: argparse._ActionsContainer, option: str, metavar: str, kind: str, words: str, **more: object
) -> None:
    """An option with a unit; ``kind`` names a dimension of ``fieldtune.units``."""
    parser.add_argument(option, metavar=metavar, type=_Quantity(option, kind), help=words, **more)  # type: ignore[arg-type]


class Choices:
    """What an option may be, found out when somebody asks: most command lines don't, and imports take time."""

    def __init__(self, find: Callable[[], tuple[str, ...]]) -> None:
        self._find = find

    def __iter__(self) -> Iterator[str]:
        return iter(self._find())

    def __contains__(self, word: object) -> bool:
        return word in self._find()


class _Quantity:
    def __init__(self, option: str, kind: str) -> None:
        self._option, self._kind = option, kind

    def __call__(self, text: str) -> float:
        from fieldtune import units

        dimension: units.Dimension = getattr(units, self._kind)
        try:
            return units.parse(text, dimension)
        except UnitError as error:
            if re.fullmatch(r"\s*[+-]?(\d+\.?\d*|\.\d+)\s*", text):
                unit = "m" if self._kind == "LENGTH" else dimension.example.split(maxsplit=1)[1]
                raise UnitError(
                    f'{self._option} {text.strip()}: {dimension.name} needs its unit; write "{text.strip()} {unit}"'
                ) from error
            raise UnitError(f"{self._option}: {error}") from error


def refused(text: str, expected: str) -> argparse.ArgumentTypeError:
    """What to raise for an option's value: what was found, cut short, and what was expected."""
    from fieldtune.units import shown

    return argparse.ArgumentTypeError(f"found {shown(text)}; expected {expected}")


def positive_number(text: str) -> float:
    """A plain number above zero, for counts of seconds and the like."""
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 0 < number < 1e9:
        raise refused(text, "a number above zero, such as 5")
    return number


def shot_number(text: str) -> int:
    """A shot's number in the log."""
    if not text.isdecimal() or len(text) > 9:
        raise refused(text, "a shot's number as 'fieldtune shots' lists it, such as 7")
    return int(text)


def setpoint(robot: Robot, option: str, text: str) -> float:
    """A setpoint in the robot's own unit (rpm, %, mm), written with a unit or as the bare number the log shows."""
    accepted = robot.setpoint
    return _in_unit(accepted.unit, option, text, f"{robot.name} takes {accepted.low:g} to {accepted.high:g}")


def measured_speed(robot: Robot, option: str, text: str) -> float:
    """What was measured at release: rpm of the wheel, or draw in mm."""
    from fieldtune.shot_entry import speed_unit

    unit = speed_unit(robot)
    return _in_unit(unit, option, text, "expected what was measured at release, in")


def _in_unit(unit: str, option: str, text: str, expected: str) -> float:
    from fieldtune import units
    from fieldtune.robot.setpoints import SCALES

    scale = SCALES[unit]
    try:
        bare = units.with_point(text.strip(), "")
        if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", bare):
            return float(bare)
        return round(units.parse(text, scale.dimension) * scale.per_si, 9)
    except UnitError as error:
        raise UnitError(f"{option}: found {units.shown(text)}; {expected} {unit}") from error


def load(args: argparse.Namespace) -> Robot:
    """The robot the command line names."""
    from fieldtune.robot import load_robot

    return load_robot(args.robot, args.profiles)


def open_session(args: argparse.Namespace) -> Session:
    """A session on the log of the robot the command line names."""
    from fieldtune.session import Session

    return Session.beside_profile(load(args), args.profiles)


def distance_if_given(robot: Robot, args: argparse.Namespace) -> float | None:
    """As ``distance``; None where neither was given."""
    return None if args.distance is None and args.spot is None else distance(robot, args)


def distance(robot: Robot, args: argparse.Namespace) -> float:
    """The distance given by ``--distance`` or ``--spot``, metres."""
    if args.distance is not None:
        return float(args.distance)
    wanted = str(args.spot).casefold()
    for spot in robot.spots:
        if spot.name.casefold() == wanted:
            return spot.distance
    known = ", ".join(repr(spot.name) for spot in robot.spots) or "none"
    raise InputError(f"--spot {args.spot}: {robot.name} has no spot of that name; its profile names: {known}")
