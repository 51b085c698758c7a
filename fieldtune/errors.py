"""The error tree: every error a user can cause or meet, drawn once.

Each message is one clear line that names the place and the remedy; the command line prints it behind
``fieldtune: `` and exits with the class's ``exit_code``.
"""

from __future__ import annotations


class FieldtuneError(Exception):
    """Anything fieldtune reports in one line instead of a traceback."""

    exit_code = 1


class InputError(FieldtuneError):
    """Wrong input: a word, number or file that the user can correct (exit code 2)."""

    exit_code = 2


class UnitError(InputError):
    """A quantity without its unit, or with a unit of the wrong dimension."""


class ProfileError(InputError):
    """A robot profile that can't be used; names file, key path, what was found and what was expected."""


class UnknownRobotError(InputError):
    """No profile of that name; says which names there are."""


class OutputError(InputError):
    """A file that can't be written where it was asked for."""


class OutOfReachError(FieldtuneError):
    """Nothing within the setpoint's limits scores from there."""


class StoreError(FieldtuneError):
    """The shot log can't be read or written."""


class LinkError(FieldtuneError):
    """The serial line can't be opened or was lost."""
