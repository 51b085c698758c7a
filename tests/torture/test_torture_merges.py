"""Logs of several laptops merged ten thousand times: commutative, associative, idempotent, the same present period."""

from __future__ import annotations

import os
import random
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.append(str(Path(__file__).parents[1] / "share"))
from test_share_merge import ODD, World, content, worlds

pytestmark = pytest.mark.torture
SEED, MERGES = 20261128, int(os.environ.get("FIELDTUNE_MERGES", "10000"))


def steps(chance: random.Random) -> list[tuple[str, Any, str]]:
    made: list[tuple[str, Any, str]] = []
    for _ in range(chance.randrange(8)):
        kind = chance.choice(["add", "add", "add", "undo", "redo", "correct", "exclude", "include", "swap", "battery"])
        value = (
            chance.uniform(0.5, 5)
            if kind == "add"
            else chance.uniform(0.01, 0.5)
            if kind == "battery"
            else chance.randrange(1, 7)
        )
        words = {"exclude": ["bounced", ODD], "include": ["bounced"], "swap": ["B", "C"], "battery": [""]}
        made.append((kind, value, chance.choice(words.get(kind, ["in", "short", "left"]))))
    return made


class Counted(World):
    merges = 0

    def pour(self, source: Any, into: Any) -> None:
        Counted.merges += 1
        super().pour(source, into)


def present(session: Any) -> str | None:
    return next((epoch.uid for epoch in session.log.epochs() if epoch.epoch == session.log.epoch), None)


def test_ten_thousand_merges_agree_in_every_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("test_share_merge.World", Counted)
    chance, rounds = random.Random(SEED), 0
    while Counted.merges < MERGES:
        rounds += 1
        with worlds() as world:
            shared = world.laptop(steps(chance))
            logs = [world.laptop(steps(chance), shared if chance.random() < 0.5 else None) for _ in range(3)]
            before = [content(log) for log in logs]
            a, b, c = logs
            orders = [world.together(*order) for order in ((a, b, c), (c, b, a), (b, a, c))]
            orders += [world.together(world.together(a, b), c), world.together(a, world.together(b, c))]
            for one in orders[1:]:
                assert content(one) == content(orders[0])
                assert present(one) == present(orders[0])
            for key in ("shots", "epochs", "batteries", "marks"):
                assert set(content(orders[0])[key]) == set().union(*(set(side[key]) for side in before))
            again = content(orders[0])
            world.pour(a, orders[0])
            world.pour(orders[1], orders[0])
            assert content(orders[0]) == again
            for log, side in zip(logs, before, strict=True):
                assert content(log) == side  # what is packed is left as it was
            world.pour(a, b)
            world.pour(b, a)
            assert content(a) == content(b)
    print(f"\nseed {SEED}: {Counted.merges} merges of {3 * rounds} logs, the same in every order")
