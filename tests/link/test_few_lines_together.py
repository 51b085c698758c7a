"""Lines that come some at a time are read and weighed together: the same must come out as of each by itself."""

from __future__ import annotations

import json
import random

import pytest
from thorough import thorough

from fieldtune import load_robot
from fieldtune.line_fields import BY_WIRE_NAME
from fieldtune.link.limits import Limits
from fieldtune.link.samples import Health
from fieldtune.link.text.checksums import framed
from fieldtune.link.text.framing import Framer
from fieldtune.link.text.layouts import LineTable
from fieldtune.link.text.shown_lines import told as told_of
from fieldtune.link.troubleshooting.remedies import remedies
from fieldtune.link.validation.decoder import LineDecoder

UNITS = {"wheel_rpm": " rpm", "battery_v": " V", "current_ma": " mA"}
LAYOUTS = {
    "json": lambda said: json.dumps({**said, "mode": "auto"}).encode() + b"\n",
    "python": lambda said: str(said).encode() + b"\n",
    "fields": lambda said: ",".join(f"{k}={v}" for k, v in said.items()).encode() + b",mode=auto\n",
    "blanks": lambda said: ", ".join(f"{k}={v}" for k, v in said.items()).encode() + b"\n",
    "checked": lambda said: framed(" ".join(f"{k}={v}" for k, v in said.items())),
    "units": lambda said: "; ".join(f"{k}: {v}{UNITS.get(k, '')}" for k, v in said.items()).encode() + b"\n",
    "zeros": lambda said: "; ".join(f"{k}: {v:>05}" for k, v in said.items()).encode() + b"\n",
}
OFTEN = [(layout, bool(i % 2)) for i, layout in enumerate(LAYOUTS)]  # each layout, with counts or with own rpm
PIECES = (b"\x1b[2J", b"\x00", b"\xff", b"$", b"*", b"=", b",", b"nan", b"1e999", b"'", b"}", b"9" * 40, b"\r", b"\n")


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


def hurt(line, rng):
    """A line with some bytes changed, lost or doubled, or something else in its place."""
    if rng.random() < 0.2:
        return rng.choice(
            (rng.randbytes(rng.randrange(90)) + b"\n", b"Ready.\n", b"\n", b"$" + line, b"x" * 900 + line, b"")
        )
    line = bytearray(line)
    for _ in range(rng.randrange(1, 4)):
        at = rng.randrange(len(line))
        line[at : at + rng.randrange(3)] = rng.choice((b"", rng.randbytes(1), rng.choice(PIECES), line[at : at + 9]))
    return bytes(line)


def read_apart(framer, data, rng):
    """Lines read each by itself, and some of them byte by byte; their numbers."""
    values, numbers = [], []
    while data:
        end = data.find(b"\n") + 1 or len(data)
        piece = data[: rng.choice((1, 9, end, end, end, end))]
        data = data[len(piece) :]
        values += framer.feed(piece)
        numbers += framer.numbers
    return values, numbers


def told(framer, decoder):
    """All that is said of the lines so far."""
    health = Health(
        framer.lines - framer.start_up,
        decoder.good,
        dict(framer.dropped + decoder.dropped),
        dict(decoder.notices + framer.set_aside),
        clock=decoder.clock,
    )
    counts = framer.damaged, framer.printed, framer.hexadecimal, decoder.damaged, decoder.clock_fault
    return health, counts, list(framer.raw)


def advised(framer, decoder, robot):
    """What to do about them; it follows from what is told of them alone."""
    health, _, raw = told(framer, decoder)
    return remedies(health, [told_of(*line) for line in raw[-100:]], None, robot)


@pytest.mark.parametrize(
    ("layout", "own_rpm", "faults"),
    [
        *((*kind, 0.002) for kind in OFTEN),
        *thorough(
            *((layout, not own_rpm, 0.002) for layout, own_rpm in OFTEN),
            *((layout, own_rpm, faults) for layout in LAYOUTS for own_rpm in (False, True) for faults in (0.0, 0.05)),
        ),
    ],
)
def test_lines_weighed_together_give_what_each_gives_by_itself(layout, own_rpm, faults):
    """In reads of a byte to 100 kB, good lines and hostile ones: the same samples, counts and advice."""
    heron = load_robot("heron")
    rng = random.Random(f"{layout} {own_rpm} {faults}")
    lines = [LAYOUTS[layout](said) for said in said_by(rng, own_rpm, 4000)]
    lines = [hurt(line, rng) if rng.random() < faults else line for line in lines]
    together, apart = LineDecoder(heron), LineDecoder(heron)
    limits = Limits.of(heron)
    bounds = {name: limits.surely(name) for name in BY_WIRE_NAME} if rng.random() < 0.7 else {}
    one, other = Framer(heron.link, bounds=bounds), Framer(heron.link)
    at, reads, tables, samples = 0, 0, 0, 0
    while at < len(lines):
        few = lines[at : at + rng.choice([1, 1, 2, 3, 10, 10, 10, 10, 30, 30, 30, 100, 300, 1000])]
        at, reads = at + len(few), reads + 1
        how = {"noisy": rng.random() < 10 * faults, "whole": at > 600 and rng.random() > 50 * faults}
        read = one.read(b"".join(few))
        tables += isinstance(read, LineTable)
        found = together.take_all(read, at / 1000, one.numbers, one.printed, **how)
        values, numbers = read_apart(other, b"".join(few), rng)
        expected = apart.take_all(values, at / 1000, numbers, other.printed, **how)
        assert list(map(repr, found)) == list(map(repr, expected))
        samples += len(found)
        assert told(one, together) == told(other, apart)
        if reads % 20 == 0 or at == len(lines):
            assert advised(one, together, heron) == advised(other, apart, heron)
    assert samples > 100
    assert tables > (9 if faults < 0.01 else 3)  # they were read together
