"""Only the named command's family is imported, and every command is in the family that the table says."""

from __future__ import annotations

import subprocess
import sys
from importlib import import_module

import pytest

from fieldtune.commands import FAMILIES, families
from fieldtune.commands.arguments import Parser


@pytest.mark.parametrize("family", FAMILIES)
def test_a_family_declares_what_the_table_says(family: str) -> None:
    commands = Parser(prog="fieldtune").add_subparsers()
    import_module(f"fieldtune.commands.{family}").add(commands)
    assert tuple(commands.choices) == FAMILIES[family]


def test_what_is_no_command_gets_all_families() -> None:
    assert len(families("aimm")) == len(families(None)) == len(FAMILIES)
    assert [family.__name__ for family in families("shots")] == ["fieldtune.commands.shot"]


@pytest.mark.parametrize(
    "words", [("shots", "heron"), ("--profiles", "aim", "robots"), ("--profiles=aim", "check", "heron")]
)
def test_a_command_leaves_the_families_it_does_not_need(words: tuple[str, ...]) -> None:
    code = (
        "import sys\nfrom fieldtune.cli import main\nmain(sys.argv[1:])\n"
        "print([name for name in ('pack', 'table', 'size') if f'fieldtune.commands.{name}' in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=60)
    assert said.stdout.splitlines()[-1] == "[]", said.stderr
