"""Bytes to fields: three layouts, the checksum, and everything that must not come through."""

from __future__ import annotations

import functools
import json
import operator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldtune.errors import ProfileError
from fieldtune.line_fields import WIRE_NAMES
from fieldtune.link.text.checksums import checksum, framed
from fieldtune.link.text.framing import LONGEST, Framer
from fieldtune.link.text.shown_lines import shown
from fieldtune.robot.model import LinkSettings


def framer(**settings_):
    return Framer(LinkSettings(**settings_))


def one(line, **settings_):
    """The only record of one line, None if it was refused."""
    found = framer(**settings_).feed(line if isinstance(line, bytes) else line.encode())
    return found[0] if found else None


# The classic NMEA 0183 sample sentences, with the checksums they are printed with (pynmea2 agrees).
NMEA = [
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    "$GPGSV,2,1,08,01,40,083,46,02,17,308,41,12,07,344,39,14,22,228,45*75",
    "$GPGLL,4916.45,N,12311.12,W,225444,A*31",
    "$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
]


@pytest.mark.parametrize("sentence", NMEA)
def test_checksum_of_published_sentences(sentence):
    body, _, digits = sentence[1:].partition("*")
    assert checksum(body.encode()) == int(digits, 16)
    for at in range(len(body)):
        for bit in range(8):
            broken = bytearray(body.encode())
            broken[at] ^= 1 << bit
            assert checksum(bytes(broken)) != int(digits, 16)


@settings(deadline=None)
@given(st.binary(max_size=520))
def test_checksum_is_the_xor_of_all_bytes(payload):
    assert checksum(payload) == functools.reduce(operator.xor, payload, 0)


def test_the_line_of_the_serial_page():
    wire = one("$t_ms=123450,wheel_counts=8812345,battery_mv=12345*1C\n")
    assert (wire.t_ms, wire.wheel_counts, wire.battery_mv) == (123450, 8812345, 12345)


@pytest.mark.parametrize(
    "line",
    [
        "t_ms=5,wheel_counts=-7,battery_v=12.5\n",
        "t_ms=5 wheel_counts=-7 battery_v=12.5\r\n",
        "t_ms = 5, wheel_counts = -7, battery_v = 12.5\n",
        "  t_ms=+5,  wheel_counts=-07\tbattery_v=1.25e1 , mode=auto\n",
        "$t_ms=5,wheel_counts=-7,battery_v=12.5\n",
        '{"t_ms": 5, "wheel_counts": -7, "battery_v": 12.5, "note": "$5 {}"}\n',
        '{"wheel_counts":"-7","t_ms":5,"battery_v":12.5,"setpoint":null}\r\n',
        framed("t_ms=5,wheel_counts=-7,battery_v=12.5"),
        framed("t_ms=5 wheel_counts=-7 battery_v=12.50"),
        framed('{"t_ms":5,"wheel_counts":-7,"battery_v":12.5}'),
        b"\xff\x00garbage$t_ms=5,wheel_counts=-7,battery_v=12.5\n",
    ],
)
def test_layouts_say_the_same(line):
    wire = one(line)
    assert (wire.t_ms, wire.wheel_counts, wire.battery_v, wire.setpoint) == (5, -7, 12.5, None)


@pytest.mark.parametrize(
    "line", ["1,2,3,4\n", "1 2 3 4\n", "1\t2\t3\t4\r\n", " 1, 2, 3 , 4\n", framed("1,2,3,4"), "1,2,x y,4\n"]
)
def test_columns_in_the_profiles_order(line):
    wire = one(line, columns=("t_ms", "wheel_counts", "-", "battery_mv"))
    assert (wire.t_ms, wire.wheel_counts, wire.battery_mv) == (1, 2, 4)


def test_an_empty_column_is_unknown():
    wire = one("1,,3,\n", columns=("t_ms", "wheel_counts", "-", "battery_mv"))
    assert (wire.t_ms, wire.wheel_counts, wire.battery_mv) == (1, None, None)


def test_the_robots_own_names():
    names = {"wheel_counts": "enc", "t_ms": "time"}
    for line in ("time=5,enc=7\n", "time=5 enc=7\n", '{"time":5,"enc":7}\n', framed("time=5,enc=7,wheel_counts=9")):
        wire = one(line, fields=names)
        assert (wire.t_ms, wire.wheel_counts) == (5, 7)
    assert one("t_ms=5\n", fields=names) is None  # that name is the robot's no more
    swapped = one("setpoint=1,power_pct=2\n", fields={"setpoint": "power_pct", "power_pct": "setpoint"})
    assert (swapped.setpoint, swapped.power_pct) == (2, 1)
    with pytest.raises(ProfileError, match="wheel_count"):
        framer(fields={"wheel_count": "enc"})
    with pytest.raises(ProfileError, match="two fields"):
        framer(fields={"wheel_counts": "enc", "t_ms": "enc"})


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        ("$t_ms=5*00\n", "checksum"),
        ("$t_ms=5*\n", "checksum"),
        ("$t_ms=5*1\n", "checksum"),
        ("$t_ms=5*4G\n", "checksum"),
        ("t_ms=nan\n", "non-finite"),
        ('{"t_ms":NaN}\n', "non-finite"),
        ('{"t_ms": -Infinity}\n', "non-finite"),
        ('{"t_ms":1e999}\n', "non-finite"),
        ("t_ms=0x10\n", "undecodable"),
        ("t_ms=1_000\n", "undecodable"),
        ("t_ms=5=6\n", "undecodable"),
        ("t_ms=\u0665\n".encode(), "undecodable"),
        ("t_ms=5,wheel_counts\n", "undecodable"),
        ("hello from the robot\n", "undecodable"),
        ("1,2,3\n", "undecodable"),
        ('{"t_ms":5\n', "undecodable"),
        ('{"t_ms":[5]}\n', "no known field"),
        ("[1,2]\n", "undecodable"),
        (b"t_ms=5\x00\n", "undecodable"),
        (b"t_ms=5,x=\x1b[2J\n", "undecodable"),
        (b"\xc3\x28\n", "undecodable"),
        ("{" * 400 + "\n", "undecodable"),
        ('{"a":' * 70 + "}" * 70 + "\n", "undecodable"),
        ("mode=auto\n", "no known field"),
        ('{"mode":"auto"}\n', "no known field"),
        ("t_ms=" + "1" * LONGEST + "\n", "over-long"),
        ("x" * 3000 + "\n", "over-long"),
    ],
)
def test_refused_lines_are_counted_by_cause(line, cause):
    reader = framer()
    assert reader.feed(line if isinstance(line, bytes) else line.encode()) == []
    assert dict(reader.dropped) == {cause: 1}
    assert reader.lines == 1


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("t_ms=5,battery_v=-inf\n", "battery_v is -inf"),
        ("t_ms=5 battery_v=NaN\n", "battery_v is nan"),
        ("t_ms=5,battery_v=1e999\n", "battery_v is too large"),
        ('{"t_ms":5,"battery_v":NaN}\n', "battery_v is nan"),
        ('{"t_ms":5,"battery_v":-Infinity,"x":NaN}\n', "battery_v is -infinity"),
    ],
)
def test_a_value_that_is_not_finite_is_set_aside_and_the_rest_counts(line, words):
    reader = framer()
    (values,) = reader.feed(line.encode())
    assert (values.t_ms, values.battery_v) == (5, None)
    assert dict(reader.set_aside) == {words: 1}
    assert not reader.dropped


def test_a_column_too_few_is_counted():
    reader = framer(columns=("t_ms", "wheel_counts"))
    assert reader.feed(b"1\n1,2,3\n4,5\n")[0].t_ms == 4
    assert dict(reader.dropped) == {"columns": 2}


def test_a_line_starts_anew_at_its_last_dollar():
    reader = framer()
    wires = reader.feed(b"$t_ms=1,wheel_co$t_ms=2,wheel" + framed("t_ms=3,wheel_counts=4"))
    assert [(w.t_ms, w.wheel_counts) for w in wires] == [(3, 4)]
    assert dict(reader.dropped) == {"cut off": 1}
    assert reader.lines == 2


def test_checksum_policies():
    good, bare, bad = framed("t_ms=1"), b"t_ms=2\n", b"$t_ms=3*00\n"
    for policy, expected, dropped in (
        ("auto", [2, 1], {"unchecked": 1, "checksum": 1}),
        ("required", [1], {"unchecked": 2, "checksum": 1}),
        ("none", [2, 1, 2, 3], {}),
    ):
        reader = framer(checksum=policy)
        assert [w.t_ms for w in reader.feed(bare + good + bare + bad)] == expected
        assert dict(reader.dropped) == dropped


def test_a_million_bytes_without_an_end_are_one_dropped_line():
    reader = framer()
    for _ in range(256):
        assert reader.feed(b"\x00" * 4096) == []
        assert len(reader._rest) <= LONGEST
    assert [w.t_ms for w in reader.feed(framed("t_ms=7"))] == [7]  # the end of the flood, from its last $
    assert dict(reader.dropped) == {"over-long": 1}


@given(st.lists(st.integers(1, 40), min_size=1, max_size=40))
@settings(max_examples=50, deadline=None)
def test_any_cut_of_the_stream_gives_the_same_records(sizes):
    stream = b"".join(framed(f"t_ms={i},wheel_counts={i * 37}") + b"junk\n" for i in range(12))
    whole, pieces, at, found = framer(), framer(), 0, []
    for size in sizes * 30:
        found += pieces.feed(stream[at : at + size])
        at += size
    found += pieces.feed(stream[at:])
    assert found == whole.feed(stream)
    assert pieces.dropped == whole.dropped


@settings(deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(WIRE_NAMES), st.integers(-(10**12), 10**12) | st.floats(-1e9, 1e9), min_size=1, max_size=12
    )
)
def test_fields_and_json_agree(values):
    by_name = one(framed(",".join(f"{k}={v!r}" for k, v in values.items())))
    by_json = one(json.dumps(values).encode() + b"\n")
    assert by_name == by_json
    assert {name: getattr(by_name, name) for name in values} == pytest.approx(values)


@given(st.binary(max_size=400))
@settings(max_examples=300, deadline=None)
def test_anything_at_all_is_counted_and_nothing_escapes(data):
    reader = framer()
    good = reader.feed(data + b"\n")
    assert reader.lines == len(good) + reader.dropped.total()
    for line, _ in reader.raw:
        assert shown(line).isprintable()


def test_nothing_from_the_wire_acts_in_the_raw_view():
    line = b"\x1b]0;title\x07\x1b[31m[bold red]t_ms=5[/]\x9b2J\r\n"
    assert shown(line) == "·]0;title··[31m[bold red]t_ms=5[/]·2J··"


LAYOUTS = {
    "framed": lambda i: framed(f"t_ms={i},wheel2_rpm={i * 1.5},setpoint=-{i}.25,fired={i % 2},mode=auto"),
    "crlf": lambda i: framed(f"t_ms={i} battery_mv={12000 + i}").replace(b"\n", b"\r\n"),
    "bare": lambda i: f"t_ms={i},wheel_counts={i * 37}\n".encode(),
    "json": lambda i: json.dumps({"t_ms": i, "note": "x-1", "battery_v": 12 + i / 100}).encode() + b"\n",
    "columns": lambda i: f"{i},{i * 3},7,-{i}\n".encode(),
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_many_lines_at_once_say_what_each_says(layout):
    columns = ("t_ms", "wheel_counts", "-", "power_pct")
    lines = [LAYOUTS[layout](i) for i in range(1000, 1400)]
    apart, together = framer(columns=columns), framer(columns=columns)
    expected = [wire for line in lines for wire in apart.feed(line)]
    found = together.feed(b"".join(lines[:30]))
    table = together.read(b"".join(lines[30:]))
    assert not isinstance(table, list)  # it was taken as a table
    assert found + table.values() == expected
    assert (together.lines, dict(together.dropped)) == (400, {})
    assert list(together.raw) == list(apart.raw)


@pytest.mark.parametrize("layout", LAYOUTS)
@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_one_odd_byte_sends_many_lines_the_careful_way(layout, data):
    columns = ("t_ms", "wheel_counts", "-", "power_pct")
    lines = [LAYOUTS[layout](i) for i in range(1000, 1060)]
    stream = bytearray(b"".join(lines[30:]))
    at = data.draw(st.integers(0, len(stream) - 2))
    stream[at] = data.draw(st.integers(0, 255))
    apart, together = framer(columns=columns), framer(columns=columns)
    expected = [wire for line in lines[:30] for wire in apart.feed(line)]
    for line in bytes(stream).splitlines(keepends=True):
        expected += apart.feed(line)
    found = together.feed(b"".join(lines[:30])) + together.feed(bytes(stream))
    assert found == expected
    assert together.dropped == apart.dropped


def test_text_that_a_controller_prints_as_it_starts_is_no_damage():
    one, boot = framer(), b"\x80\xf8rst:0x1 (POWERON)\r\nboot: 0x13, mode 2\r\nlauncher v1.2\r\n"
    for started in (3, 6):
        one.feed(boot)
        for count in range(5):
            assert one.feed(framed(f"t_ms={count * 10},wheel_counts={count}"))
        assert (one.start_up, one.damaged, sum(one.dropped.values())) == (started, 0, 0)
        one.restart()
    one.feed(framed("t_ms=60,wheel_counts=6"))
    one.feed(boot)
    assert one.start_up == 6
    assert sum(one.dropped.values()) == 3


def test_a_line_whose_sum_fits_by_chance_does_not_silence_a_robot_without_checksums():
    one = framer()
    plain = [f"t_ms={count * 10},wheel_counts={count}\n".encode() for count in range(200)]
    assert sum(len(one.feed(line)) for line in plain[:50]) == 50
    one.feed(framed("?"))
    heard = [len(one.feed(line)) for line in plain[50:]]
    assert sum(heard) >= 105
    assert all(heard[45:])


def test_a_robot_with_checksums_is_never_read_without_them_for_many_damaged_lines():
    one = framer()
    one.feed(framed("t_ms=0,wheel_counts=0"))
    for count in range(1, 2000):
        line = framed(f"t_ms={count * 10},wheel_counts={count}")
        damaged = line.replace(b"=", b"=1", 1) if count % 8 == 0 else line.replace(b"$", b"").replace(b"*", b",")
        assert one.feed(damaged) == []
