"""A frozen record against what the standard library makes of the same class."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any, ClassVar

import pytest

from fieldtune.aim.results import Aim, SetpointChoice
from fieldtune.frozen import frozen

Maker = Callable[[type], Any]
STANDARD: Maker = dataclasses.dataclass(frozen=True, slots=True)


def classes(make: Maker) -> tuple[Any, Any, Any]:
    """Plain fields; a subclass with defaults and a field that doesn't compare; one without fields."""

    class Pair(ABC):
        """Two of them."""

        kind: ClassVar[str] = "pair"
        low: float
        high: float = 2.0

        @abstractmethod
        def never(self) -> None: ...

    class Named(made := make(Pair)):  # type: ignore[valid-type, misc]
        """With a name."""

        name: str = "x"
        parts: list[int] = dataclasses.field(default_factory=list)
        note: str = dataclasses.field(default="", compare=False, repr=True)

        def never(self) -> None: ...

        def __post_init__(self) -> None:
            if self.low > self.high:
                raise ValueError("low is above high")

    class Nothing:
        """None."""

    return made, make(Named), make(Nothing)


@pytest.fixture(params=[STANDARD, frozen], ids=["standard library", "frozen"])
def made(request: pytest.FixtureRequest) -> tuple[Any, Any, Any]:
    """The same classes, made by both."""
    return classes(request.param)


def test_it_is_a_dataclass_as_any_other(made: tuple[Any, Any, Any]) -> None:
    pair, named, nothing = made
    one = named(1.0, name="a")
    assert one == named(low=1.0, high=2.0, name="a", parts=[], note="another")
    assert one != named(1.0, name="b")
    assert one != (1.0, 2.0, "a", [])
    assert repr(one).endswith("Named(low=1.0, high=2.0, name='a', parts=[], note='')")
    assert dataclasses.asdict(one) == {"low": 1.0, "high": 2.0, "name": "a", "parts": [], "note": ""}
    assert dataclasses.replace(one, low=0.5) == named(0.5, name="a")
    assert named.__match_args__ == ("low", "high", "name", "parts", "note")
    assert one.parts is not named(1.0).parts
    assert nothing() == nothing()
    assert hash(nothing()) == hash(nothing())
    assert list(inspect.signature(named).parameters) == ["low", "high", "name", "parts", "note"]
    assert not hasattr(one, "__dict__")
    with pytest.raises(TypeError, match="unhashable"):
        hash(one)  # for its list
    with pytest.raises(TypeError, match="abstract"):
        pair(1.0)
    with pytest.raises(TypeError, match="missing 1 required"):
        named()
    with pytest.raises(TypeError, match="unexpected keyword"):
        named(1.0, size=3)
    with pytest.raises(ValueError, match="above"):
        named(3.0)


def test_nothing_of_it_can_be_changed(made: tuple[Any, Any, Any]) -> None:
    one = made[1](1.0)
    for change in (lambda: setattr(one, "low", 0.0), lambda: delattr(one, "low"), lambda: setattr(one, "other", 0)):
        with pytest.raises((dataclasses.FrozenInstanceError, AttributeError, TypeError)):
            change()
    assert one.low == 1.0


def test_equal_records_count_as_one_and_travel() -> None:
    choice = SetpointChoice(1480.0, "rpm", 1440.0, None)
    assert len({choice, SetpointChoice(1480.0, "rpm", 1440.0, None)}) == 1
    aim = Aim("heron", 2.0, None, choice, *[None] * 7, True, None, 3, 1)
    for other in (pickle.loads(pickle.dumps(aim)), copy.deepcopy(aim), copy.copy(aim)):
        assert other == aim
        assert hash(other) == hash(aim)
