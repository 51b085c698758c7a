"""Bytes to lines to records, and a count of everything that was refused.

Framing: LF, CR or both end a line, 512 bytes at most, a line starts anew at its last ``$``.
"""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Sequence
from itertools import repeat
from typing import TYPE_CHECKING

from fieldtune.line_fields import COUNTER, PERIOD
from fieldtune.link.text.checksums import BETWEEN, checked_payloads, checksum
from fieldtune.link.text.hexadecimal import Hexadecimal
from fieldtune.link.text.layouts import Bounds, Layouts, LineTable
from fieldtune.link.text.line_format import LineFormat, LooseReader
from fieldtune.link.text.line_patterns import OFTEN, LinePatterns, is_readings, looks_like_text, objects_apart
from fieldtune.link.text.line_wraps import LineWraps
from fieldtune.link.text.loose_layouts import LooseLayout
from fieldtune.link.text.wire_numbers import MaybeThousands
from fieldtune.link.text.wire_values import NotDataError, WireValues, named_fields, own_rpm

if TYPE_CHECKING:
    from fieldtune.robot.model import LinkSettings

LONGEST = 512
RAW_KEPT = 400
_HEX = frozenset(b"0123456789abcdefABCDEF")
_LIKE_A_CHECKSUM = re.compile(rb"\*\s*(?:0[xX])?[0-9A-Fa-f]{1,4}h?\s*")
_ROW_OF_NAMES = re.compile(
    rb"\W*[A-Za-z_\x80-\xff][\w. ()\[\]/%\x80-\xff]*+(?:[,;\t|]\s*[A-Za-z_\x80-\xff][\w. ()\[\]/%\x80-\xff]*+)+[\s|;]*"
)
_OF_THE_WHEEL = (COUNTER, PERIOD, "wheel_rpm", "draw_mm")
_DAMAGE = ("checksum", "over-long", "cut off")
_SENDS_NONE = 40  # lines one after another without a checksum, be it a damaged one
_SURELY_OFTEN = 12  # lines of one form lately, so that it is worth while to learn how to read them together
_NO_MORE = 24  # lines in a row that are read otherwise than one to the letter
_AHEAD = 24  # lines of a chunk that can't be read together are read by themselves before the others are tried
_LOOKED_EVERY = 5  # lines that are not read to the letter, for whether lines are broken
_START_UP = 60  # lines that a controller prints at most while it starts


class Framer:
    """Turns chunks of bytes into records; counts refused lines by cause in ``dropped``.

    ``damaged`` counts those of them that a faulty wire makes, and not text that the robot prints for people.

    ``bounds``: what is beyond is never read together with other lines. Not thread-safe: one reader feeds it. ``raw``
    keeps the last lines with the cause of refusal (None: good).
    """

    def __init__(self, settings: LinkSettings, *, speed_setpoint: bool = False, bounds: Bounds | None = None) -> None:
        self.lines = 0
        self.dropped: Counter[str] = Counter()
        self.damaged = 0
        self.printed = 0
        """As ``lines``, without words for a person and other lines beside the wheel's: the others come evenly."""
        self.numbers: Sequence[int] = ()
        self.raw: deque[tuple[bytes, str | None]] = deque(maxlen=RAW_KEPT)
        self._format = LineFormat(settings, speed_setpoint=speed_setpoint)
        names, like = self._format.names, self._format.like
        self._loose = LooseReader(names, self._format.maybe, settings.scale, self._format.hexadecimal, like)
        self._trial = LooseReader(names, MaybeThousands.settled(), settings.scale, Hexadecimal(), like)
        self._wheel = tuple(theirs.encode() for theirs, ours in names.items() if ours in _OF_THE_WHEEL)
        self._policy = settings.checksum
        self._checked_seen, self._unchecked = False, 0
        self._bounds = bounds or {}
        self._layouts = Layouts(self._format, self._bounds)
        self._patterns = LinePatterns()
        self._loose_layout: LooseLayout | None = None
        self._strict: WireValues | LineTable | None = None
        """What was read last to the letter."""
        self._exact, self._other, self._otherwise = 0, 0, False  # lines in a row read to the letter, or otherwise
        self._of_wheel: WireValues | None = None  # the last line with a reading of the wheel
        self._rest, self._wraps = b"", LineWraps()
        self._flooded = False
        self._names_row: tuple[bytes, str | None] | None = None
        self.start_up = 0
        """Lines refused between opening and the first good one: many a controller starts anew then, and says so."""
        self._spoke = False
        self._before: tuple[Counter[str], int] | None = (Counter(), 0)

    @property
    def set_aside(self) -> Counter[str]:
        """Single values that can't be used, by what is wrong with them; the rest of their lines counts."""
        return self._format.set_aside

    @property
    def hexadecimal(self) -> tuple[str, ...]:
        """Our names of the numbers that are hexadecimal."""
        return self._format.hexadecimal.names

    def recent(self, count: int) -> list[tuple[bytes, str | None]]:
        """The last of ``raw``; behind the last line that may name columns under other names, which comes once."""
        kept, names = list(self.raw)[-count:], self._names_row
        return [names, *kept] if names is not None and names not in kept else kept

    def restart(self) -> None:
        """Forgets the half line of a connection that is gone."""
        self._rest = b""
        self._flooded = False
        self._checked_seen, self._unchecked = False, 0
        self._before, self._spoke = (self.dropped.copy(), self.damaged), False

    def feed(self, chunk: bytes) -> list[WireValues]:
        """The good records whose line ends in this chunk."""
        read = self.read(chunk)
        return [*read.ahead, *read.values()] if isinstance(read, LineTable) else read

    def read(self, chunk: bytes) -> list[WireValues] | LineTable:
        """As ``feed``, but many alike lines come as one table. ``numbers`` says which of the ``printed`` ones."""
        if b"\r" in chunk:
            chunk = chunk.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        data = self._rest + chunk if self._rest else chunk.lstrip(b"\n")
        end = data.rfind(b"\n") + 1
        body, self._rest = data[:end], data[end:]
        lines = body.split(b"\n")[:-1]
        if self._wraps.at and lines:
            lines, goes_on = self._wraps.joined(lines)
            body, self._rest = b"".join(line + b"\n" for line in lines), goes_on + self._rest
        found: list[WireValues] | LineTable | None = None if self._flooded else self._table(body, lines)
        if found is None:
            ahead = self._one_by_one(lines[:_AHEAD])
            found = self._others(ahead, lines[_AHEAD:]) if len(lines) > _AHEAD else ahead
        if len(self._rest) > LONGEST:
            self._cut_flood()
        return found

    def _others(self, ahead: list[WireValues], lines: list[bytes]) -> list[WireValues] | LineTable:
        """As ``read``, when the first lines of a chunk were read by themselves: now more may be known."""
        numbers = self.numbers
        table = self._table(b"\n".join([*lines, b""]), lines)
        found = self._one_by_one(lines) if table is None else []
        self.numbers = [*numbers, *self.numbers]
        if table is None:
            return ahead + found
        table.ahead = ahead
        return table

    def _table(self, body: bytes, lines: list[bytes]) -> LineTable | None:
        """The lines as a table, if they are alike and without fault."""
        if not lines or self._before is not None or self._policy == "none" or self._format.hexadecimal:
            return None
        if len(body) > LONGEST and max(map(len, lines)) > LONGEST:
            return None
        table, count = None, len(lines)
        if self._checked_seen:
            payloads = checked_payloads(body, lines)
            table = None if payloads is None else self._layouts.read(payloads, BETWEEN, count)
        elif self._policy != "required" and b"$" not in body and b"*" not in body:
            strict = self._strict is not None
            table = self._layouts.read(body[:-1], b"\n", count) if strict else self._loose_table(body, count)
        if table is not None:
            self._strict = table if self._strict is not None else None
            self._unchecked = 0
            self.lines += count
            self.printed += count
            self.numbers = range(self.printed - count + 1, self.printed + 1)
            self.raw.extend(zip(lines[-RAW_KEPT:], repeat(None)))
        return table

    def _loose_table(self, body: bytes, lines: int) -> LineTable | None:
        """The lines as a table, if they are all of the form that comes often."""
        loose = self._loose_layout
        if loose is None or self._checked_seen or self._patterns.count(loose.form) < OFTEN:
            return None
        table = loose.table(body, self._format.maybe)
        self._patterns.often(loose.form, 0 if table is None else lines)
        return table

    def _one_by_one(self, lines: list[bytes]) -> list[WireValues]:
        found: list[WireValues] = []
        numbers: list[int] = []
        if self._flooded and lines:
            self._flooded = False
            lines[0] = self._after_flood(lines[0])
        read, append, keep = self._read, found.append, self.raw.append
        good = b""
        for line in objects_apart(lines):
            if not line or line == b"\0":  # of a line feed that came as two bytes (UTF-16)
                continue
            self.lines += 1
            self.printed += 1
            try:
                wire = read(line)
                good, self._other = line, 0
                self._exact += 1
                # Of a line that is read otherwise, damage may leave one that is read to the letter.
                self._strict = wire if not self._otherwise or self._exact >= OFTEN else self._strict
            except NotDataError as error:
                if not self._wraps.at and self.lines % _LOOKED_EVERY == 0:
                    self._wraps.look(raw for raw, _ in reversed(self.raw))
                loosely = self._loosely(line, error.cause)
                if not isinstance(loosely, WireValues):
                    self.dropped[loosely] += 1
                    self.printed -= looks_like_text(line, self._format.names) or self._patterns.aside(line, self._wheel)
                    if _ROW_OF_NAMES.fullmatch(line) and not self._format.columns:
                        self._names_row = line, loosely
                    self._spoke = self._spoke or not is_readings(line, self._format.names)
                    keep((line[-LONGEST:], loosely))
                    continue
                wire = loosely
            if wire.wheel_counts is not None or own_rpm(wire) is not None:
                self._of_wheel = wire
            elif self._of_wheel is not None:
                self.printed -= self._beside(line, wire, self._of_wheel)
            if self._before is not None:
                self._leave_out_start_up(*self._before)
            keep((line, None))
            append(wire)
            numbers.append(self.printed)
        self.numbers = numbers
        if good:
            checked = self._checked_seen and good.rfind(b"*") > 0
            self._layouts.learn(good[good.rfind(b"$") + 1 : good.rfind(b"*")] if checked else good)
        return found

    def _beside(self, line: bytes, wire: WireValues, of_wheel: WireValues) -> bool:
        """Whether a line without the wheel's is of a kind of its own: not one whose name of the wheel was damaged."""
        damaged = named_fields(wire) == named_fields(of_wheel) - frozenset(_OF_THE_WHEEL)
        return self._patterns.often(self._patterns.form(line)) and not damaged

    def _leave_out_start_up(self, before: Counter[str], damaged: int) -> None:
        """What was refused since the port was opened is no sign of a bad wire, unless it was very much."""
        self._before, refused = None, self.dropped - before
        if self._spoke and 1 < refused.total() <= _START_UP:
            self.dropped, self.damaged = self.dropped - refused, damaged
            self.start_up += refused.total()

    def _loosely(self, line: bytes, cause: str) -> WireValues | str:
        """What a line that was refused says otherwise, if such lines keep coming; else the cause. Notes damage."""
        if cause in _DAMAGE:
            self.damaged += 1
            return cause
        if self._format.columns.take_header(line):
            self._layouts.forget()
            self._loose_layout = None
            return "column names"
        form = self._patterns.form(line)
        if not self._patterns.often(form):
            self.damaged += not looks_like_text(line, self._format.names)
            return cause
        if cause == "unchecked":
            return cause
        columns = self._format.columns
        loose = columns if columns and b"=" not in line and b":" not in line else self._loose
        try:
            values, unusable = loose.read(line)
        except NotDataError:
            return cause
        found, strict = named_fields(values), self._strict
        self._other += 1
        if self._other > _NO_MORE:  # what was read to the letter was what damage left of a line
            strict = self._strict = None
        if strict is not None:
            # Lines that are read otherwise are damaged, but for a word in a number's place.
            words_only = all("no number" in str(wrong) or str(wrong).startswith("is ") for wrong in unusable.values())
            if not found or not words_only or found | unusable.keys() != _fields_of(strict):
                return cause
        self._exact, self._otherwise = 0, True
        for ours, wrong in unusable.items():
            self._format.note(ours, wrong)
        known = self._loose_layout is not None and self._loose_layout.form == form
        if strict is None and not known and self._patterns.count(form) >= _SURELY_OFTEN:
            reader = columns.read if loose is columns else self._trial.read
            self._loose_layout = LooseLayout(line, form, reader, self._bounds)
        return values if found else "unusable value"

    def _cut_flood(self) -> None:
        """Keeps of an endless line only what may still become one: from its last ``$``."""
        start, whole = self._rest.rfind(b"$"), self._rest
        kept = start >= 0 and len(whole) - start <= LONGEST
        self._rest = whole[start:] if kept else b""
        if (not kept or start > 0) and not self._flooded:
            self.raw.append((whole[:LONGEST], "over-long"))
            self.lines += 1
            self.printed += 1
            self.damaged += 1
            self.dropped["over-long"] += 1
            self._flooded = True

    def _after_flood(self, line: bytes) -> bytes:
        """The end of an endless line, already counted: what stands behind its last ``$`` may be a line of its own."""
        start = line.rfind(b"$")
        return line[start:] if start >= 0 else b""

    def _read(self, line: bytes) -> WireValues:
        body = line
        if body[:1] == b"{" and body.rstrip()[-1:] == b"}":
            if len(body) > LONGEST:
                raise NotDataError("over-long")
            self._admit_unchecked()
            return self._format.json(body)
        start = body.rfind(b"$") + 1
        if start > 1 and body[: start - 1].strip():
            self._restarted(body[: start - 1])
            body = body[start - 1 :]
            start = 1
        if len(body) > LONGEST:
            raise NotDataError("over-long")
        end = body.rfind(b"*")
        if end >= 0 and not start and not _LIKE_A_CHECKSUM.fullmatch(body, end):
            end = -1  # a star in the text, or in a unit
        if end < 0:
            self._admit_unchecked()
            return self._format.read(body[start:] if start else body)
        payload = body[start:end]
        self._check(payload, body[end + 1 :])
        return self._format.read(payload)

    def _restarted(self, lost: bytes) -> None:
        """Counts the beginning of a line that another line's ``$`` cut off."""
        self.lines += 1
        self.printed += 1
        self.damaged += 1
        self.dropped["over-long" if len(lost) > LONGEST else "cut off"] += 1

    def _check(self, payload: bytes, digits: bytes) -> None:
        if self._policy == "none":
            return
        self._unchecked = 0
        digits = digits.strip().lower().removeprefix(b"0x").removesuffix(b"h")
        if len(digits) != 2 or not _HEX.issuperset(digits) or int(digits, 16) != checksum(payload):
            raise NotDataError("checksum")
        self._checked_seen = True

    def _admit_unchecked(self) -> None:
        """Refuses a line without checksum where one is asked for, or where this robot has sent them before.

        Of noise one line in 256 has a sum that fits: many in a row without one tell that the robot sends none.
        """
        if self._policy == "auto" and self._checked_seen:
            self._unchecked += 1
            self._checked_seen = self._unchecked < _SENDS_NONE
        if self._policy == "required" or (self._policy == "auto" and self._checked_seen):
            raise NotDataError("unchecked")


def _fields_of(read: WireValues | LineTable) -> frozenset[str]:
    return frozenset(read.names) if isinstance(read, LineTable) else named_fields(read)
