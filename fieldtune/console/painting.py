"""Painting by differences: what the terminal shows, what it is to show, and the bytes that lead from one to the other.

A grid of cells stands between Textual and the terminal. Only cells that differ are sent, so a frame that was superseded
before it could be sent costs nothing.
"""

from __future__ import annotations

from collections.abc import Iterator

from rich.cells import cell_len
from rich.color import ColorSystem
from rich.style import Style
from textual._compositor import ChopsUpdate, CompositorUpdate, LayoutUpdate
from textual.strip import SGR_STYLES, Strip

Ink = tuple[str, str, str, bool]
"""Attributes, foreground and background as the terminal is told them (ECMA-48, select graphic rendition), and whether
it is the colour of a picture: its cells are no words."""

_SEEN_ON_BLANKS = frozenset(["4", "7", "9", "21", "51", "52", "53"])
"""Attributes that show where nothing is written: underlined, reversed, struck through, framed."""
_WORTH_A_MOVE = 4
"""Unchanged cells between two changed ones are sent again where moving the cursor takes as many bytes."""
_PHRASE = 30
"""How far a changed word is completed on either side."""
_PICTURES = "\u2800"
"""From here on characters are braille dots, which pictures are drawn with."""
_MOST_INKS = 4096
_BLANK: Ink = ("", "", "", False)
PICTURED = "pictured"
"""What the ``meta`` of a picture's styles names."""


class Painter:
    """What is to be shown (``take``) and what the terminal was sent (``difference``)."""

    def __init__(self, colors: ColorSystem) -> None:
        self._colors = colors
        self._size = (0, 0)
        self._inks: dict[Style | None, tuple[Ink, Ink]] = {}
        self._changes: dict[tuple[Ink | None, Ink], str] = {}
        self._dirty: set[int] = set()
        self._resume = 0
        self._wanted: tuple[list[list[str]], list[list[Ink]]] = ([], [])
        self._shown: tuple[list[list[str]], list[list[Ink]]] = ([], [])

    def resize(self, width: int, height: int) -> None:
        """A terminal of another size: nothing is known of what it shows."""
        if (width, height) != self._size:
            self._size = width, height
            self._wanted = [[" "] * width for _ in range(height)], [[_BLANK] * width for _ in range(height)]
            self.forget()

    def forget(self) -> None:
        """Nothing is known of what the terminal shows: everything is sent again."""
        width, height = self._size
        self._shown = [["?"] * width for _ in range(height)], [[("?", "", "", False)] * width for _ in range(height)]
        self._dirty = set(range(height))

    @property
    def behind(self) -> bool:
        """Whether something may be left to send."""
        return bool(self._dirty)

    def take(self, update: CompositorUpdate) -> None:
        """What is to be shown from now on."""
        if isinstance(update, LayoutUpdate):
            for y, line in enumerate(update.strips, update.region.y):
                x = update.region.x
                for part in line:
                    x = self._write(y, x, part, 0, self._size[0])
        elif isinstance(update, ChopsUpdate):
            for y, left, right in update.spans:
                for end, (x, strip) in zip(update.chop_ends[y], update.chops[y].items(), strict=False):
                    if strip is not None and x <= right and end > left:
                        self._write(y, x, strip, left, right)

    def _write(self, y: int, x: int, strip: Strip, left: int, right: int) -> int:
        """Cells of a strip that begins at x, as far as they lie in left..right; returns where it ends."""
        if not 0 <= y < self._size[1]:
            return x
        right = min(right, self._size[0])
        characters, inks = self._wanted[0][y], self._wanted[1][y]
        for text, style, control in strip:
            if control or not text:
                continue
            cells: str | list[str] = text if text.isascii() or cell_len(text) == len(text) else _cells(text)
            full, bare = self._ink(style)
            ink = bare if text.isspace() else full
            a, b, end = max(x, left), min(x + len(cells), right), x + len(cells)
            if a < b:
                characters[a:b] = cells[a - x : b - x]
                inks[a:b] = [ink] * (b - a)
            x = end
        self._dirty.add(y)
        return x

    def _ink(self, style: Style | None) -> tuple[Ink, Ink]:
        """The ink of a style, and that of its blanks."""
        found = self._inks.get(style)
        if found is None:
            if len(self._inks) > _MOST_INKS:
                self._inks.clear()
            found = self._inks[style] = self._made(style)
        return found

    def _made(self, style: Style | None) -> tuple[Ink, Ink]:
        if style is None:
            return _BLANK, _BLANK
        bits = style._attributes & style._set_attributes
        attributes = [SGR_STYLES[k] for k in range(bits.bit_length()) if bits & (1 << k)]
        fore = style.color.downgrade(self._colors).get_ansi_codes() if style.color else ()
        back = style.bgcolor.downgrade(self._colors).get_ansi_codes(False) if style.bgcolor else ()
        pictured = PICTURED in style.meta
        full = (";".join(attributes), ";".join(fore), ";".join(back), pictured)
        return full, full if _SEEN_ON_BLANKS.intersection(attributes) else ("", "", full[2], pictured)

    def difference(self, most: float = float("inf"), *, words: bool = False) -> str:
        """What turns what is shown into what is wanted, about ``most`` bytes at most; the rest stays wanted.

        ``words``: words only, whole ones, so that whoever reads the bytes reads words too; pictures stay wanted.
        """
        out: list[str] = []
        length, ink, at = 0, None, (-1, -1)
        for y in sorted(self._dirty, key=lambda row: (row < self._resume, row)):
            if length >= most:
                self._resume = y
                break
            for a, b in self._runs(y, words):
                piece, ink = self._run(y, a, b, ink)
                if at != (y, a):
                    out.append(f"\x1b[{a - at[1]}C" if at[0] == y and a > at[1] else f"\x1b[{y + 1};{a + 1}H")
                out.append(piece)
                length += len(piece.encode()) + 6
                at = y, b
            if not words:
                self._dirty.discard(y)
        if not self._dirty:
            self._resume = 0
        if ink is not None and ink[:3] != _BLANK[:3]:
            out.append("\x1b[m")
        return "".join(out)

    def _runs(self, y: int, words: bool) -> Iterator[tuple[int, int]]:
        """Stretches of a row that have to be sent."""
        wanted, inks = self._wanted[0][y], self._wanted[1][y]
        shown, shown_inks = self._shown[0][y], self._shown[1][y]
        if wanted == shown and inks == shown_inks:
            return
        width = self._size[0]
        changed = [x for x in range(width) if wanted[x] != shown[x] or inks[x] != shown_inks[x]]
        if words:
            changed = [
                x
                for x in changed
                if wanted[x] < _PICTURES and shown[x] < _PICTURES and not (inks[x][3] or shown_inks[x][3])
            ]
        if not changed:
            return
        begin = end = -1
        for x in changed:
            a, b = _phrase(wanted, inks, x) if words else (x, x + 1)
            while a > 0 and not wanted[a]:
                a -= 1  # the second half of a wide character goes with the first
            while b < width and (not wanted[b] or not shown[b]):
                b += 1
            if begin >= 0 and a <= end + _WORTH_A_MOVE and len(set(inks[end:a])) < 2:
                begin, end = min(begin, a), max(end, b)
            else:
                if begin >= 0:
                    yield begin, end
                begin, end = a, b
        yield begin, end

    def _run(self, y: int, a: int, b: int, ink: Ink | None) -> tuple[str, Ink | None]:
        """The bytes of one stretch, and the ink that the terminal has after it."""
        wanted, inks = self._wanted[0][y], self._wanted[1][y]
        out = []
        start = a
        while start < b:
            now, stop = inks[start], start + 1
            while stop < b and inks[stop] == now:
                stop += 1
            if now != ink:
                out.append(self._change(ink, now))
                ink = now
            out.append("".join(wanted[start:stop]))
            start = stop
        self._shown[0][y][a:b] = wanted[a:b]
        self._shown[1][y][a:b] = inks[a:b]
        return "".join(out), ink

    def _change(self, before: Ink | None, after: Ink) -> str:
        """The control sequence from one ink to another."""
        found = self._changes.get((before, after))
        if found is None:
            if len(self._changes) > _MOST_INKS:
                self._changes.clear()
            found = self._changes[before, after] = _changed(before, after)
        return found


def _changed(before: Ink | None, after: Ink) -> str:
    if (
        before is None
        or before[0] not in ("", after[0])
        or (before[1] and not after[1])
        or (before[2] and not after[2])
    ):
        return f"\x1b[{';'.join(['0', *filter(None, after[:3])])}m"
    changed = [new for old, new in zip(before[:3], after[:3], strict=True) if new and new != old]
    return f"\x1b[{';'.join(changed)}m" if changed else ""


def _cells(text: str) -> list[str]:
    """The text a cell at a time: behind a wide character an empty cell, what takes no room with the one before."""
    cells: list[str] = []
    for character in text:
        wide = cell_len(character)
        if wide:
            cells += [character, *[""] * (wide - 1)]
        elif cells:
            cells[-1] += character
    return cells


def _phrase(wanted: list[str], inks: list[Ink], x: int) -> tuple[int, int]:
    """The words around a cell: what is written in one ink, up to a gap or a picture."""
    ink, a, b = inks[x], x, x + 1
    if wanted[x] >= _PICTURES or ink[3]:
        return a, b

    def goes_on(place: int, further: int) -> bool:
        if not 0 <= place < len(wanted) or wanted[place] >= _PICTURES or abs(place - x) > _PHRASE:
            return False
        if inks[place][3]:
            return False
        if wanted[place] == " ":
            return 0 <= further < len(wanted) and wanted[further] != " " and inks[further] == ink
        return inks[place] == ink

    while goes_on(a - 1, a - 2):
        a -= 1
    while goes_on(b, b + 1):
        b += 1
    return a, b
