"""Lines that come some at a time are read and weighed together: the same must come out as of each by itself."""

from __future__ import annotations

import json
import random

import pytest

from fieldtune import load_robot
from fieldtune.line_fields import BY_WIRE_NAME
from fieldtune.link.checksums import framed
from fieldtune.link.decoder import LineDecoder
from fieldtune.link.framing import Framer
from fieldtune.link.layouts import LineTable
from fieldtune.link.limits import Limits

UNITS = {"wheel_rpm": " rpm", "battery_v": " V", "current_ma": " mA"}
LAYOUTS = {
    "json": lambda said: json.dumps({**said, "mode": "auto"}).encode() + b"\n",
    "python": lambda said: str(said).encode() + b"\n",
    "fields": lambda said: ",".join(f"{k}={v}" for k, v in said.items()).encode() + b",mode=auto\n",
    "blanks": lambda said: ", ".join(f"{k}={v}" for k, v in said.items()).encode() + b"\n",
    "checked": lambda said: framed(" ".join(f"{k}={v}" for k, v in said.items())),
    "units": lambda said: "; ".join(f"{k}: {v}{UNITS.get(k, '')}" for k, v in said.items()).encode() + b"\n",
}


def said_by(rng, own_rpm, lines=1200):
    """A wheel that stands, spins up, throws and is read now and then by a robot whose lines are not all good."""
    clock, turns, rps = 1_000_000, 0.0, 0.0
    for i in range(lines):
        passed = 1000 if rng.random() < 0.98 else rng.choice([0, 1000, 3000, 60_000])
        clock += passed
        target = 0 if i < 200 else 40
        rps = rps * 0.9 if i % 400 == 399 else rps + (target - rps) * passed * 4e-6
        turns += rps * passed * 1e-6
        speed = {"wheel_rpm": round(60 * rps + rng.gauss(0, 3) * (rps > 1), 1)} if own_rpm else {}
        counts = {} if own_rpm else {"wheel_counts": int(56 * turns)}
        volts = 12.3 if rng.random() < 0.997 else rng.choice([0.0, 55.0, 11.0])
        fired = {"fired": int(i % 400 == 399)} if rng.random() < 0.999 else {}
        yield {"t_us": clock, **speed, **counts, "battery_v": volts, "current_ma": rng.randrange(9000), **fired}
    yield {"t_us": "9" * 400, "wheel_rpm": 1}


@pytest.mark.parametrize("bounded", [False, True])
@pytest.mark.parametrize("own_rpm", [False, True])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_lines_weighed_together_give_what_each_gives_by_itself(layout, own_rpm, bounded):
    heron = load_robot("heron")
    rng = random.Random(f"{layout} {own_rpm}")
    lines = [LAYOUTS[layout](said) for said in said_by(rng, own_rpm)]
    together, apart = LineDecoder(heron), LineDecoder(heron)
    limits = Limits.of(heron)
    bounds = {name: limits.surely(name) for name in BY_WIRE_NAME} if bounded else {}
    one, other = Framer(heron.link, bounds=bounds), Framer(heron.link)
    at, tables, samples = 0, 0, 0
    while at < len(lines):
        few = lines[at : at + rng.choice([1, 2, 10, 10, 10, 40])]
        at += len(few)
        read, each, numbers = one.read(b"".join(few)), [], []
        for line in few:
            each += other.feed(line)
            numbers += other.numbers
        tables += isinstance(read, LineTable)
        found = together.take_all(read, at / 1000, one.numbers, one.lines, doubted=False, whole=at > 600)
        expected = apart.take_all(each, at / 1000, numbers, other.lines, doubted=False, whole=at > 600)
        assert list(map(repr, found)) == list(map(repr, expected))
        samples += len(found)
    assert (together.good, together.dropped, together.notices) == (apart.good, apart.dropped, apart.notices)
    assert (one.dropped, list(one.raw)) == (other.dropped, list(other.raw))
    assert samples > 100
    assert tables > 30  # they were read together
