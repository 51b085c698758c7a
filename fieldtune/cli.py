"""Words to calls: the ``fieldtune`` command. Commands live in ``fieldtune.commands``, one file a family.

Nothing heavy is imported here: only the named command's family is, and it imports what it needs when it runs.
"""

from __future__ import annotations

import contextlib
import gc
import os
import re
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune import __version__, person_units
from fieldtune.caution import CAUTION
from fieldtune.errors import FieldtuneError
from fieldtune.plain_text import say, say_aside

if TYPE_CHECKING:
    import argparse

    from fieldtune.commands.arguments import Parser

_ABOUT = "\n".join(
    ("Aims launchers, learns from shots, checks drives. Without a command it opens the console.", *CAUTION)
)

_TRACE = "FIELDTUNE_TRACE"


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; returns 0, 1 when the work can't be done, 2 for wrong input, 130 when interrupted."""
    # Our matrices are small: threads of the linear algebra would only wait for each other and heat the laptop.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    collecting = gc.isenabled()
    gc.disable()  # looking for garbage is a tenth of a short command's time; commands that stay turn it on again
    _open_streams()
    try:
        try:
            code = _run(list(sys.argv[1:] if argv is None else argv))
        except SystemExit as left:  # help was printed, or the console was told to end
            code = int(left.code or 0)
        sys.stdout.flush()
        return code
    except FieldtuneError as error:
        return _complain(str(error), error.exit_code)
    except KeyboardInterrupt:
        return 130
    except OSError as error:
        if error.filename is not None and not isinstance(error, BrokenPipeError):
            return _fault(error)
        # An error without a file is standard output's. Point it at nothing, so that the last flush doesn't fail too.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(error, BrokenPipeError):
            return 1  # the reader went away
        return _complain(f"the answer can't be printed ({error.strerror or error})", 1)
    except Exception as error:
        return _fault(error)
    finally:
        if collecting:
            gc.enable()


def command() -> int:
    """``main`` as a process of its own, which ends behind it."""
    code = main()
    gc.freeze()  # Python looks for garbage once more before it ends: an eighth of a short command's time
    return code


def _open_streams() -> None:
    """A stream that whoever started us closed (``>&-``) is one that nobody reads."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 - open as long as the program runs


def _run(argv: list[str]) -> int:
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")  # a terminal that knows no degree sign shows "?" instead of failing
    if argv == ["--version"]:  # before anything else is imported
        return _version()
    words = _joined(argv) or ["console"]
    args = _parser(_named(words)).parse_args(words)
    person_units.use(_units(args))
    return int(args.run(args) or 0)


def _units(args: argparse.Namespace) -> person_units.System:
    """Units of this command's text: those asked for, else the person's choice; what programs read is metric."""
    if getattr(args, "json", False):
        return "metric"
    asked: person_units.System | None = getattr(args, "units", None)
    if asked is not None:
        return asked
    from fieldtune.setup.preferences import read_preferences

    return "us" if read_preferences().us else "metric"


def _named(words: list[str]) -> str | None:
    """The command among the words, if there is one: the first that is no option and no option's value."""
    rest = iter(words)
    for word in rest:
        if word in ("--profiles", "--units"):
            next(rest, None)
        elif not word.startswith("-"):
            return word
    return None


def _parser(command: str | None) -> Parser:
    from argparse import RawDescriptionHelpFormatter

    from fieldtune.commands import families
    from fieldtune.commands.arguments import Parser

    parser = Parser(prog="fieldtune", description=_ABOUT, formatter_class=RawDescriptionHelpFormatter)
    parser.add_argument("--version", action="store_true", help="print the version and leave")
    parser.add_argument("--profiles", metavar="DIR", help="folder of robot profiles and their logs")
    parser.add_argument("--units", choices=person_units.SYSTEMS, help="units of all text: metric or us")
    parser.set_defaults(run=_alone)
    commands = parser.add_subparsers(prog=parser.prog, metavar="COMMAND", title="commands")
    for family in families(command):
        family.add(commands)
    return parser


def _version() -> int:
    say(f"fieldtune {__version__}")
    return 0


def _alone(args: argparse.Namespace) -> int | None:
    if args.version:
        return _version()
    from fieldtune.commands import console

    return console.console_alone(args)


def _joined(argv: list[str]) -> list[str]:
    """``--miss -12cm`` as ``--miss=-12cm``: a negative quantity isn't an option."""
    joined: list[str] = []
    for word in argv:
        if joined and re.fullmatch(r"--[a-z][a-z-]*", joined[-1]) and re.match(r"-[\d.]", word):
            joined[-1] += f"={word}"
        else:
            joined.append(word)
    return joined


def _fault(error: Exception) -> int:
    if os.environ.get(_TRACE):
        raise error
    return _complain(f"a fault of the program ({type(error).__name__}: {error}); {_TRACE}=1 shows where", 1)


def _complain(words: str, code: int) -> int:
    # Where nobody is left to read it, the exit code still tells.
    with contextlib.suppress(OSError):
        sys.stdout.flush()
    with contextlib.suppress(OSError):
        say_aside(words)
    return code
