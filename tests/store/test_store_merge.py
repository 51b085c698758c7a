"""Two copies of a log, each with shots of its own, brought together."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldtune.errors import InputError
from fieldtune.store import Store


def _pour(source: Store, into: Store, name: str) -> tuple[int, int]:
    return into.merge(source.shots_as_confirmed(), source.marks(), source.epochs(), name)


def test_merging_both_ways_gives_both_the_same_shots_once(tmp_path: Path) -> None:
    pit, bench = Store(tmp_path / "pit.db"), Store(tmp_path / "bench.db")
    pit.add(1.0, 2000.0, "in")
    pit.swap("B")
    pit.add(2.0, 2400.0, "long", miss_m=0.2)
    bench.add(3.0, 2900.0, "short")
    bench.exclude(1, "bounced")
    assert _pour(bench, pit, "bench") == (1, 1)
    assert _pour(bench, pit, "bench") == (0, 0)
    assert _pour(pit, bench, "pit") == (2, 0)
    assert {shot.uid for shot in pit.shots()} == {shot.uid for shot in bench.shots()}
    foreign = pit.shots()[-1]
    assert (foreign.distance_m, foreign.excluded, foreign.origin) == (3.0, "bounced", "bench")


def test_shots_of_one_epoch_stay_together_and_the_present_one_stands(tmp_path: Path) -> None:
    pit, bench = Store(tmp_path / "pit.db"), Store(tmp_path / "bench.db")
    pit.add(1.0, 2000.0, "in")
    for distance in (2.0, 3.0):
        bench.add(distance, 2400.0, "in")
    _pour(bench, pit, "bench")
    assert [shot.epoch for shot in pit.shots()] == [1, 2, 2]
    assert pit.epoch == 1
    bench.add(4.0, 2400.0, "in")
    _pour(bench, pit, "bench")
    assert [shot.epoch for shot in pit.shots()] == [1, 2, 2, 2]


def test_an_empty_log_goes_on_where_the_other_stands() -> None:
    pit, fresh = Store(), Store()
    pit.add(1.0, 2000.0, "in")
    pit.swap("B")
    pit.add(2.0, 2400.0, "in")
    _pour(pit, fresh, "pit")
    assert fresh.epoch == pit.epoch == 2
    fresh.add(3.0, 2900.0, "in")
    _pour(fresh, pit, "fresh")
    assert [shot.epoch for shot in pit.shots()] == [1, 2, 2]
    assert pit.epoch == 2


def test_undo_takes_back_own_shots_only() -> None:
    pit, bench = Store(), Store()
    pit.add(1.0, 2000.0, "in")
    bench.add(2.0, 2400.0, "in")
    _pour(bench, pit, "bench")
    undone = pit.undo()
    assert undone is not None
    assert pit.shot(undone.shot or 0).distance_m == 1.0
    assert pit.undo() is None


def test_a_half_log_is_refused_whole() -> None:
    pit, bench = Store(), Store()
    bench.add(2.0, 2400.0, "in")
    bench.exclude(1, "bounced")
    with pytest.raises(InputError, match="epoch 1"):
        pit.merge(bench.shots(), bench.marks(), (), "bench")
    with pytest.raises(InputError, match="isn't in the log"):
        pit.merge((), bench.marks(), bench.epochs(), "bench")
    assert pit.shots() == ()
    assert pit.marks() == ()
