"""Filling in the templates that lie in ``templates`` (Jinja2, which is imported when something is exported)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.session import Session


def today(session: Session) -> str:
    """The session's date where the user is, ISO 8601."""
    return session.log.now().astimezone().date().isoformat()


def filled(template: str, **values: Any) -> str:
    """The text of a template. In pages (``.html.j2``) every value is escaped unless it is markup already."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("fieldtune.share"),
        autoescape=template.endswith(".html.j2"),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    filters: dict[str, Callable[..., str]] = {"numbers": numbers, "one_line": one_line}
    environment.filters.update(filters)
    return environment.get_template(template).render(values)


def numbers(values: Sequence[float], indent: int, columns: int) -> str:
    """Numbers as many languages write them, as many a line as fit (at least one), with trailing commas."""
    lines, line = [], " " * indent
    for value in values:
        if not math.isfinite(value):
            raise InputError("the table holds a number that is none; no source written")
        item = f"{value!r}, "
        if line.strip() and len(line) + len(item) > columns:
            lines.append(line.rstrip())
            line = " " * indent
        line += item
    return "\n".join([*lines, line.rstrip()])


def one_line(text: str, most: int) -> str:
    """One line of printable text, cut to ``most`` characters; not yet escaped."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return plain if len(plain) <= most else plain[: most - 1].rstrip() + "…"
