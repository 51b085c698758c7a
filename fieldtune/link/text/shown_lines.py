"""Raw lines as they are shown to a person, and back: nothing of the wire may act on a terminal."""

from __future__ import annotations

from fieldtune.link.text.wire_numbers import in_ascii


def shown(line: bytes) -> str:
    """A raw line for the eye: a tab, and what a keyboard has another key for, as that; else each letter but printable
    ASCII becomes a visible ``·``, so that nothing acts."""
    text = in_ascii(line.decode("utf-8", "replace")).replace("\t", " ")
    return "".join(letter if " " <= letter <= "~" else "·" for letter in text)


_CAUSE = "   ["


def told(line: bytes, cause: str | None) -> str:
    """A raw line made harmless to show; a refused one ends in its cause."""
    return shown(line) + (f"{_CAUSE}{cause}]" if cause else "")


def as_sent(text: str) -> bytes:
    """What ``told`` made a text of, with its end of line."""
    return text.partition(_CAUSE)[0].encode("ascii", "replace") + b"\n"
