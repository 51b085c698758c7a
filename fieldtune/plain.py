"""Records and numbers as plain values: what is not finite or not known is ``None``."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any


def as_json(value: Any) -> Any:
    """A record, and all records within it, as plain dicts and lists; what is not finite becomes None."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: as_json(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {k: as_json(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [as_json(v) for v in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def known(value: Any) -> float | None:
    """A number as a float, or None where it is missing or not finite."""
    if value is None:
        return None
    number = float(value)
    return number if math.isfinite(number) else None
