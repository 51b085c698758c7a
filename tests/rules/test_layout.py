"""The measures of the house: how long a file may be, and how many imports may follow one another."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
LONGEST_FILE, LONGEST_CHAIN = 350, 12
MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for path in (ROOT / "fieldtune").rglob("*.py")
}


def imported(body: list[ast.stmt]) -> Iterator[str]:
    """Modules of our own that are imported when a module is, types apart."""
    for node in body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fieldtune"):
            for name in node.names:
                whole = f"{node.module}.{name.name}"
                yield whole if whole in MODULES else str(node.module)
        elif isinstance(node, ast.If) and "TYPE_CHECKING" not in ast.dump(node.test):
            yield from imported(node.body)


@cache
def chain(module: str) -> tuple[str, ...]:
    """The longest chain of imports that begins with a module."""
    others = set(imported(ast.parse(MODULES[module].read_text(encoding="utf-8")).body)) - {module}
    return (module, *max((chain(one) for one in sorted(others)), key=len, default=()))


def test_no_chain_of_imports_is_long() -> None:
    longest = max((chain(module) for module in sorted(MODULES)), key=len)
    assert len(longest) <= LONGEST_CHAIN, " > ".join(longest)


def test_no_file_is_long() -> None:
    lines = {name: len(path.read_text(encoding="utf-8").splitlines()) for name, path in MODULES.items()}
    assert {name: count for name, count in lines.items() if count > LONGEST_FILE} == {}
