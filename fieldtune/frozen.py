"""Frozen dataclasses with slots, made quickly.

The standard library writes and compiles six functions for each class: a fifth of a short command's time for our hundred
records. Here ``__init__`` alone is compiled, and the others are shared.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from operator import attrgetter
from typing import Any, NoReturn, TypeVar, dataclass_transform

T = TypeVar("T")
_LATER = object()
"""Stands for a default that is made anew for each record."""


@dataclass_transform(frozen_default=True, field_specifiers=(dataclasses.field,))
def frozen(cls: type[T]) -> type[T]:
    """As ``dataclasses.dataclass(frozen=True, slots=True)``; ``fields``, ``replace`` and ``asdict`` know the result.

    What the class itself defines stays: ``__repr__`` for example, or ``__eq__`` together with ``__hash__``.
    """
    made: Any = dataclasses.dataclass(init=False, repr=False, eq=False, slots=True)(cls)
    fields = dataclasses.fields(made)
    methods: dict[str, Callable[..., Any]] = {
        "__init__": _init(made, fields),
        "__repr__": _repr,
        "__setattr__": _refuse,
        "__delattr__": _refuse,
        "__reduce__": _reduce,
        **_comparing([field.name for field in fields if field.compare]),
    }
    for name, method in methods.items():
        if name not in cls.__dict__:
            setattr(made, name, method)
    return made  # type: ignore[no-any-return]


def _init(made: Any, fields: tuple[dataclasses.Field[Any], ...]) -> Callable[..., None]:
    known: dict[str, Any] = {"_LATER": _LATER}
    parameters, body = ["self"], []
    for field in fields:
        name = field.name
        known[f"_set_{name}"], value = getattr(made, name).__set__, name  # past the refusal, by the slot itself
        if field.default is not dataclasses.MISSING:
            known[f"_default_{name}"] = field.default
            parameters.append(f"{name}=_default_{name}")
        elif field.default_factory is not dataclasses.MISSING:
            known[f"_make_{name}"] = field.default_factory
            parameters.append(f"{name}=_LATER")
            value = f"_make_{name}() if {name} is _LATER else {name}"
        else:
            parameters.append(name)
        body.append(f" _set_{name}(self, {value})")
    if hasattr(made, "__post_init__"):
        body.append(" self.__post_init__()")
    exec("\n".join([f"def __init__({', '.join(parameters)}):", *(body or [" pass"])]), known)
    init: Callable[..., None] = known["__init__"]
    init.__qualname__ = f"{made.__qualname__}.__init__"
    init.__annotations__ = {field.name: field.type for field in fields}
    return init


def _comparing(names: list[str]) -> dict[str, Callable[..., Any]]:
    """Equal are records of one class whose values are."""
    values: Callable[[Any], Any] = (
        attrgetter(*names) if len(names) > 1 else lambda one: [getattr(one, n) for n in names]
    )

    def __eq__(self: object, other: object) -> bool:
        return bool(values(self) == values(other)) if other.__class__ is self.__class__ else NotImplemented

    def __hash__(self: object) -> int:
        return hash(tuple(values(self)))

    return {"__eq__": __eq__, "__hash__": __hash__}


def _repr(self: Any) -> str:
    shown = (f"{field.name}={getattr(self, field.name)!r}" for field in dataclasses.fields(self))
    return f"{self.__class__.__qualname__}({', '.join(shown)})"


def _refuse(self: object, name: str, value: object = None) -> NoReturn:
    raise dataclasses.FrozenInstanceError(f"{self.__class__.__qualname__}.{name} can't be changed")


def _reduce(self: Any) -> tuple[type, tuple[Any, ...]]:
    return self.__class__, tuple(getattr(self, field.name) for field in dataclasses.fields(self))
