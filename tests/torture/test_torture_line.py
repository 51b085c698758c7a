"""Ten million hostile lines: no crash, every line accounted for by a cause, nothing raw shown, memory flat."""

from __future__ import annotations

import os
import random
import resource
import time

import pytest

from fieldtune import load_robot
from fieldtune.link import Line, health_words
from fieldtune.link.text.checksums import framed

LINES = int(os.environ.get("FIELDTUNE_LINES", "7150000"))
SEED = int(os.environ.get("FIELDTUNE_SEED", "20261128"))
_PIECES = (
    b"\x1b[2J", b"\x1b]0;x\x07", b"[red]", b"[/]", b"{{7*7}}", b"\x00", b"\xff\xfe", b"$", b"*", b"=", b",", b"nan",
    b"1e999", b"-", b"'", b'{"', b"}", b"[[[[", b"wheel_rpm=", b"t_ms=", b"\xe2\x80\xae", b"\r", b"9" * 40, b" ", b":",
)  # fmt: skip
_NAMES = (b"t_ms", b"t_us", b"wheel_counts", b"wheel_rpm", b"battery_v", b"distance_mm", b"fired", b"Wheel RPM", b"x")
_VALUES = (
    b"nan", b"-inf", b"1e308", b"9" * 400, b"2,450", b"2.450", b"2'450", b"9,77", b"True", b"", b"N/A", b"8' 0.5\"",
    b"40 rev/s", b"5 ticks/s", b"[1,2]", b"np.float64(5)", b"0x7F", b"\xd9\xa5", b"\xb0/s", b"5|rpm",
    b"-9223372036854775809",
)  # fmt: skip
_BETWEEN = (b",", b";", b" ", b"|", b"\t", b"/")


def _good(i: int, rng: random.Random, checked: bool) -> bytes:
    text = f"t_ms={10 * i % 2**32},wheel_counts={(7 * i) % 2**32},battery_mv={9000 + rng.randrange(500)}"
    return framed(text) if checked else text.encode() + b"\n"


def _hostile(i: int, rng: random.Random, checked: bool) -> bytes:
    kind = rng.randrange(10)
    if kind == 8:
        pairs = (rng.choice(_NAMES) + rng.choice((b"=", b": ", b"(V): ")) + rng.choice(_VALUES) for _ in range(6))
        return rng.choice(_BETWEEN).join(pairs) + b"\n"
    if kind == 9:
        mark = rng.choice(_BETWEEN)
        return mark.join(rng.choices(_NAMES if rng.random() < 0.1 else _VALUES, k=4)) + b"\n"
    if kind == 0:
        return rng.randbytes(rng.randrange(1, 120)) + b"\n"
    if kind == 1:
        return b"".join(rng.choices(_PIECES, k=rng.randrange(1, 12))) + b"\n"
    if kind == 2:
        return b"\x00" * rng.randrange(1, 9) + b"$" + _good(i, rng, checked)
    if kind == 3:
        return b"{" * rng.randrange(1, 500) + b"\n"
    if kind == 4 and rng.random() < 0.002:
        return rng.choice((b"x", b"$", b"9", b"{")) * 100_000
    hurt = bytearray(_good(i, rng, checked))
    for _ in range(rng.randrange(1, 4)):
        at = rng.randrange(len(hurt))
        hurt[at : at + rng.randrange(2)] = rng.choice((b"", rng.randbytes(1), rng.choice(_PIECES)))
    return bytes(hurt)


@pytest.mark.torture
@pytest.mark.parametrize("checked", [True, False])
def test_hostile_lines_by_the_million(checked):
    rng, line = random.Random(SEED), Line(load_robot("heron"))
    began, mb, fed, hostile, chunk = time.process_time(), [], 0, 0, bytearray()
    for i in range(LINES):
        hurt = rng.random() < 0.7
        hostile += hurt
        chunk += _hostile(i, rng, checked) if hurt else _good(i, rng, checked)
        if len(chunk) > 3000 or i == LINES - 1:
            fed += len(chunk)
            line.feed(bytes(chunk), 0.01 * i)
            chunk.clear()
        if i % (LINES // 20) == LINES // 40:
            health = line.health()
            shown = [health_words(health), *line.raw(400), *health.dropped, *health.notices]
            assert all(text.isprintable() for text in shown), [t for t in shown if not t.isprintable()]
            assert abs(health.lines - health.good - sum(health.dropped.values())) <= 2, health  # may be held
            assert len(health.dropped) < 30
            assert len(health.notices) < 60
            mb.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
            line.fresh.clear()
    health = line.health()
    causes = ", ".join(f"{n} {cause}" for cause, n in sorted(health.dropped.items(), key=lambda item: -item[1]))
    print(f"\nseed {SEED}, {'with' if checked else 'without'} checksums: {hostile} hostile lines among {health.lines}")
    print(f"({fed / 1e6:.0f} MB), {health.good} good, dropped: {causes}")
    print(f"{1e6 * (time.process_time() - began) / LINES:.1f} us a line; memory {mb[1]:.0f} to {mb[-1]:.0f} MB")
    assert mb[-1] - mb[len(mb) // 2] < 10
