"""The forms of lines, and which lines are words for a person: so that damage is told from a program's way of printing.

Damage looks different each time, a program's lines are alike but for their numbers.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter, deque
from collections.abc import Iterable, Mapping

_NUMBERS = re.compile(
    rb"0[xX][0-9A-Fa-f]+|(?<![\w.])(?=[0-9]+[A-Fa-f]|[A-Fa-f]+[0-9])[0-9A-Fa-f]{4,16}(?![\w.=:\"])"
    rb"|[0-9.,'_+-]*[0-9][0-9.,'_+-]*(?: [0-9]{3}(?![0-9]))*"
    rb"|(?<![\w.])-?(?:nan|NaN|NAN|inf|Inf|INF|ovf|null|None|n/a|N/A)(?!\w)"
)
_PADDING = re.compile(rb"[ \t]+(?=#)|(?<=[ \t])[ \t]+")
_STATE_WORD = re.compile(
    rb"([:=][ \t]*[\"']?)[A-Za-z_\x80-\xff]+(?: [A-Za-z_]+)*?"
    rb"(?=[ \t]*(?:[\"',;|!)\]}]|\Z|[A-Za-z_][\w.]*(?:[ \t]*(?:[(\[][^()\[\]#]*[)\]])?[ \t]*[:=]|#)))"
    rb"|(#[^\w#]*[ \t|,;])[A-Za-z_\x80-\xff][A-Za-z_\x80-\xff ]*(?=[!.)\]|\s]*\Z)"
)
"""A word in a value's place, or at the end behind the last number: it says what the program does now."""
COLOUR = re.compile(rb"\x1b\[[0-9;?]*[A-Za-z]")
"""What colours text on a terminal, or moves its cursor (ECMA-48, 5.4, control sequences)."""
UTF_16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
"""What text of two bytes a letter may begin with."""
_CUT_LETTER = re.compile(rb"\A[\x80-\xbf]{1,3}|[\xc0-\xff][\x80-\xbf]{0,2}\Z")
_REMEMBERED = 48
OFTEN = 3
_DIGITS, PLAIN = b"0123456789", b"\t" + bytes(range(32, 127))
_LETTERS = bytes(byte for byte in PLAIN if chr(byte).isalpha())
_TEXT = 0.97  # share of text at the right speed
_TEXT_BYTES, _ENDLESS_BYTES = 40, 200


class LinePatterns:
    """The forms of the lines that were refused lately: a form is the line with its numbers taken out."""

    def __init__(self) -> None:
        self._lately: deque[bytes] = deque()
        self._count: Counter[bytes] = Counter()

    @staticmethod
    def form(line: bytes) -> bytes:
        """A line with its numbers taken out, and what changes with each shot: the word for the robot's state, and how
        many blanks bring a number to its width."""
        return _STATE_WORD.sub(rb"\1\2@", _PADDING.sub(b"", _NUMBERS.sub(b"#", line)))

    def count(self, form: bytes) -> int:
        """How many lines of a form came lately."""
        return self._count[form]

    def often(self, form: bytes, lines: int = 1) -> bool:
        """Notes lines of a form; whether as many of them came lately as damage would not make."""
        lately, count = self._lately, self._count
        for _ in range(lines if count[form] < _REMEMBERED else 0):  # of one form alone nothing would change
            lately.append(form)
            count[form] += 1
            if len(lately) > _REMEMBERED:
                oldest = lately.popleft()
                count[oldest] -= 1
                if not count[oldest]:
                    del count[oldest]
        return count[form] >= OFTEN

    def aside(self, line: bytes, wheel: Iterable[bytes]) -> bool:
        """Whether a refused line, without the names of the ``wheel``, is of a kind that keeps coming beside others."""
        return self._count[self.form(line)] >= OFTEN and not any(name in line for name in wheel)


def looks_like_text(line: bytes, names: Mapping[str, str]) -> bool:
    """Whether a line is words for a person, which a damaged line of readings is not: it would keep names or digits."""
    letters, digits = len(line) - len(line.translate(None, _LETTERS)), len(line) - len(line.translate(None, _DIGITS))
    plain = not line.translate(None, PLAIN)
    return plain and letters > digits and not any(name.encode() in line for name in names)


def is_readings(line: bytes, names: Mapping[str, str]) -> bool:
    """Whether a line is of readings, if damaged ones: neither words for a person nor bytes at another speed."""
    return not line.translate(None, PLAIN) and not looks_like_text(line, names)


def share_of_text(data: bytes) -> float:
    """Which share of some bytes is text: letters of any language (UTF-8, RFC 3629), colours, ends of lines.

    At another speed hardly any bytes are, nor are those of binary numbers.
    """
    plain = COLOUR.sub(b"", _CUT_LETTER.sub(b"", data))
    text = plain.decode("utf-8", "ignore")
    good = len("".join(letter for letter in text if letter.isprintable() or letter in "\r\n\t").encode())
    return good / len(plain) if plain else 0.0


def objects_apart(lines: list[bytes]) -> list[bytes]:
    """Lines with one object each, of a program that forgets some line feeds."""
    return [one for line in lines for one in line.replace(b"}{", b"}\n{").split(b"\n")]


def is_text(data: bytes) -> bool:
    """Whether bytes are lines of text, but for a stray one; or so much text that it has no lines."""
    enough = _TEXT_BYTES if b"\n" in data or b"\r" in data else _ENDLESS_BYTES
    return len(data) >= enough and share_of_text(data) >= _TEXT
