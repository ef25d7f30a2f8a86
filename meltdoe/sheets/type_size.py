"""How large a page may be set and still stay one page of A4 and of Letter.

Sheets are read at arm's length and written on with gloves on, so every page takes the largest type that it has room
for. Widths are those of DejaVu Sans, wider than most faces that a browser may take in its place; heights are those of
the style sheet in ``wording/sheets.html.j2``, which this module must follow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["SIZES", "Boxes", "Lines", "Ruled", "fitting_size"]

SIZES = (12, 13, 14, 15, 16, 17, 18, 19)
"""Pixels of 1/96 inch; a page that is too full for the smallest runs on to a second one."""

_WIDE = 188.0 / 25.4 * 96.0  # px: A4 less its margins
_HIGH = 257.0 / 25.4 * 96.0  # px: Letter less its margins, and a little
_LETTER, _BOLD, _CAPITAL = 0.52, 0.57, 0.72  # em: the mean small letter of words in DejaVu Sans, and capitals
_LINE = 1.2  # em


@dataclass(frozen=True, slots=True)
class Lines:
    """Text over the whole width.

    Parameters
    ----------
    text : what it says. scale : size of its letters, 1 for that of the page. around : em above and below.
    """

    text: str
    scale: float = 1.0
    around: float = 0.25

    def height(self, size: float) -> float:
        """In px at this size of type."""
        return _lines(self.text, _WIDE, self.scale * size) * _LINE * self.scale * size + self.around * size


@dataclass(frozen=True, slots=True)
class Ruled:
    """A table.

    Parameters
    ----------
    rows : text of each cell; where a cell holds several lines, they are parted by a newline.
    widths : share of each column in what the width has left. scale : as in `Lines`.
    fixed : em that columns without a line break take of the width.
    """

    rows: Sequence[Sequence[str]]
    widths: Sequence[float]
    scale: float = 1.1
    fixed: float = 0.0

    def height(self, size: float) -> float:
        """In px at this size of type."""
        letters = self.scale * size
        return sum(self._row(row, letters) for row in self.rows)

    def _row(self, row: Sequence[str], letters: float) -> float:
        most = max(
            sum(
                _lines(line, share * (_WIDE - self.fixed * letters) - 0.8 * letters, letters, _BOLD)
                for line in cell.split("\n")
            )
            for cell, share in zip(row, self.widths, strict=True)
        )
        return most * _LINE * letters + 0.42 * letters + 1.5


@dataclass(frozen=True, slots=True)
class Boxes:
    """An outcome: what is asked, and boxes to tick that stand behind it where there is room, else below.

    Parameters
    ----------
    title, small : what is asked, and what stands behind it in small type.
    words : one to a box; empty where a number is written on a line.
    """

    title: str
    small: str
    words: Sequence[str]

    def height(self, size: float) -> float:
        """In px at this size of type."""
        letters = 1.1 * size
        asked = (3 * _BOLD + _length(self.title, _BOLD) + 0.88 * _length(self.small)) * letters
        ticked = [(_length(word) + 2.9) * letters for word in self.words or ["a number, unit"]]
        none = (9 * _LETTER + 5.8) * 0.9 * letters
        around = 0.5 * letters + 2.0
        if asked + sum(ticked) + none <= _WIDE:
            return 1.85 * letters + around
        rows, taken = 1.0, 0.0
        for word in (*ticked, none):
            if taken and taken + word > _WIDE:
                rows, taken = rows + 1.0, 0.0
            rows += math.ceil(word / _WIDE) - 1.0
            taken += word
        return math.ceil(asked / _WIDE) * _LINE * letters + rows * 1.85 * letters + around


def fitting_size(blocks: Sequence[Boxes | Lines | Ruled], room: float, pages: int = 1) -> int:
    """The largest of `SIZES` at which the blocks leave `room` px of so many pages, or the smallest."""
    high = pages * _HIGH - room
    return max((size for size in SIZES if sum(block.height(size) for block in blocks) <= high), default=SIZES[0])


def _lines(text: str, wide: float, letters: float, letter: float = _LETTER) -> int:
    return max(1, math.ceil(_length(text, letter) * letters / max(wide, letters, 1.0)))


def _length(text: str, letter: float = _LETTER) -> float:
    """Em that a text is long."""
    return sum(_CAPITAL if one.isupper() else letter for one in text)
