"""Tables and conclusions of ``bench_line``."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

_SHOWN_HZ = 30.0  # whole lines a second that a bad wire must still bring for its recall to count as a goal


def print_table(part: str, results: Sequence[Any]) -> None:
    """The table of one part."""
    {"recall": _recall, "phantoms": _phantoms, "wire": _wire, "shown": _shown}[part](results)


def _head(title: str, *columns: str) -> None:
    print(f"\n== {title}\n{''.join(columns)}")


def _recall(results: Sequence[Any]) -> None:
    _head(
        "Shots found, cell by cell (drop/spread: against the reading's spread over 50 ms)",
        f"{'control':20}{'drop':>5}{'lines/s':>9}{'counts':>8}{'sends':>8}{'setpoint':>10}",
        f"{'drop/spread':>13}{'recall':>8}{'phantoms':>10}{'release p50 %':>15}{'p90 %':>7}",
    )
    for r in results:
        c, f = r.cell, r.cell.firmware
        middle, most = _release(r.errors)
        print(
            f"{c.control:20}{c.share:5.0%}{f.rate_hz:9.0f}{f.counts_per_turn:8.0f}{f.speed:>8}"
            f"{'sent' if f.setpoint else '-':>10}{r.ratio:13.1f}{r.caught / r.shots:8.2f}{r.phantoms:10}"
            f"{middle:15.2f}{most:7.2f}"
        )
    groups: dict[str, Callable[[Any], Any]] = {
        "control": lambda r: r.cell.control,
        "drop": lambda r: r.cell.share,
        "lines/s": lambda r: r.cell.firmware.rate_hz,
        "counts a turn": lambda r: r.cell.firmware.counts_per_turn,
        "sends": lambda r: r.cell.firmware.speed,
        "setpoint sent": lambda r: r.cell.firmware.setpoint,
    }
    _head(
        "The same by level, all cells with drop/spread above 2",
        f"{'level':34}{'cells':>6}{'recall':>8}{'phantoms':>10}",
    )
    for title, key in groups.items():
        held: dict[Any, list[Any]] = defaultdict(list)
        for r in results:
            if r.ratio > 2:
                held[key(r)].append(r)
        for level, some in sorted(held.items(), key=lambda item: str(item[0])):
            print(f"{title + ' ' + str(level):34}{len(some):6}{_pooled(some):8.2f}{_sum(some, 'phantoms'):10}")


def _phantoms(results: Sequence[Any]) -> None:
    _head(
        "Shots made up where there was none (quick lowerings, setpoint not sent)",
        f"{'control':20}{'lines/s':>9}{'counts':>8}{'sends':>8}{'seconds':>9}{'lowerings':>11}{'phantoms':>10}",
    )
    for r in results:
        c, f = r.cell, r.cell.firmware
        print(
            f"{c.control:20}{f.rate_hz:9.0f}{f.counts_per_turn:8.0f}{f.speed:>8}{r.seconds:9.0f}{c.lowerings:11}"
            f"{r.phantoms:10}"
        )


def _wire(results: Sequence[Any]) -> None:
    _head(
        "Bad wires, drops of 12 %",
        f"{'control':20}{'lines/s':>9}{'bytes spoilt':>14}{'sends':>8}{'checked':>9}{'good lines/s':>14}",
        f"{'recall':>8}{'phantoms':>10}  dropped",
    )
    for r in results:
        f = r.cell.firmware
        print(
            f"{r.cell.control:20}{f.rate_hz:9.0f}{f.faults:14.1%}{f.speed:>8}{'yes' if f.checked else '-':>9}"
            f"{r.good_hz:14.1f}{r.caught / r.shots:8.2f}{r.phantoms:10}  {_causes(r.dropped)}"
        )


def _shown(results: Sequence[Any]) -> None:
    _head(
        "What is shown of every program",
        f"{'program':44}{'control':14}{'shots':>7}{'phantoms':>10}{'wrong s':>9}{'blank s':>9}",
        f"{'other wrong s':>15}  clock, dropped",
    )
    for r in results:
        print(
            f"{r.cell.name:44}{r.cell.control:14}{r.caught:5}/{r.shots}{r.phantoms:10}{r.wrong_s:9.2f}{r.blank_s:9.2f}"
            f"{r.wrong_other_s:15.2f}  {r.clock}, {_causes(r.dropped)}"
        )


def _release(errors: Sequence[float]) -> tuple[float, float]:
    """Median and ninetieth percentile of the size of relative errors, percent."""
    if not errors:
        return float("nan"), float("nan")
    size = 100 * np.abs(errors)
    return float(np.median(size)), float(np.percentile(size, 90))


def _sum(results: Iterable[Any], name: str) -> Any:
    return sum(getattr(r, name) for r in results)


def _pooled(results: Sequence[Any]) -> float:
    return _sum(results, "caught") / max(_sum(results, "shots"), 1)


def _causes(dropped: dict[str, int]) -> str:
    return ", ".join(f"{n} {cause}" for cause, n in sorted(dropped.items(), key=lambda item: -item[1])[:3]) or "-"


def print_conclusions(results: Sequence[Any]) -> None:
    """Goal and figure, one line each."""
    print("\n== Conclusions")
    parts: dict[str, list[Any]] = defaultdict(list)
    for r in results:
        parts[r.cell.part].append(r)
    recall = parts["recall"]
    if recall:
        deep = [r for r in recall if r.ratio > 3]
        middle = [r for r in recall if 2 < r.ratio <= 3]
        for title, goal, some in (
            ("recall, drop above 3 spreads", 0.95, deep),
            ("recall, drop 2 to 3 spreads", 0.8, middle),
        ):
            if some:
                short = sum(r.caught < goal * r.shots for r in some)
                worst = min(r.caught / r.shots for r in some)
                words = f"pooled {_pooled(some):.3f}, worst cell {worst:.2f}, {short} of {len(some)} cells below"
                _say(title, f">= {goal} in each cell", words, short == 0)
        _say("phantoms among shots", "0", _per_hour(recall), not _sum(recall, "phantoms"))
        errors = [e for r in deep for e in r.errors]
        share, (_, most) = float(np.mean(np.abs(errors) <= 0.01)) if errors else 0.0, _release(errors)
        words = f"{share:.1%} of shots within 1 %, p90 {most:.2f} %, mean {100 * float(np.mean(errors or [0])):+.2f} %"
        _say("speed at release, drop above 3 spreads", "p90 within 1 %", words, most <= 1)
    if quiet := parts["phantoms"]:
        words = f"{_per_hour(quiet)}, {sum(r.cell.lowerings for r in quiet)} lowerings"
        _say("phantoms without shots", "0", words, not _sum(quiet, "phantoms"))
    if wire := parts["wire"]:
        fair = [r for r in wire if r.good_hz >= _SHOWN_HZ]
        short = sum(r.caught < 0.9 * r.shots for r in fair)
        worst = min((r.caught / r.shots for r in fair), default=float("nan"))
        words = f"pooled {_pooled(fair):.3f}, worst {worst:.2f}, {short} of {len(fair)} cells below"
        _say(f"bad wire, at least {_SHOWN_HZ:.0f} good lines/s", ">= 0.9 in each cell", words, short == 0)
        _say("bad wire, all", "none", f"pooled {_pooled(wire):.3f} of {len(wire)} cells", None)
        _say("phantoms on bad wires", "0", _per_hour(wire), not _sum(wire, "phantoms"))
    if shown := parts["shown"]:
        wrong, names = _sum(shown, "wrong_s"), {r.cell.name for r in shown if r.wrong_s > 0}
        words = f"{wrong:.1f} of {_sum(shown, 'seconds'):.0f} s, in {len(names)} programs"
        _say("seconds of wrong speed", "0", words, wrong == 0)
        other = _sum(shown, "wrong_other_s")
        _say("seconds of wrong battery or distance", "0", f"{other:.1f} s", other == 0)
        blank = _sum(shown, "blank_s")
        _say("blank seconds", "none", f"{blank:.1f} s", None)
        _say("phantoms among programs", "0", _per_hour(shown), not _sum(shown, "phantoms"))


def _per_hour(results: Sequence[Any]) -> str:
    return f"{_sum(results, 'phantoms')} in {_sum(results, 'seconds'):,.0f} s"


def _say(title: str, goal: str, words: str, well: bool | None) -> None:
    verdict = {True: "ok", False: "MISS", None: "--"}[None if well is None else bool(well)]
    print(f"{verdict:5}{title:42} goal {goal:20} {words}")
