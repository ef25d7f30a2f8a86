"""Numbers as people and spreadsheets write them: decimal comma or point, thousands marks, a unit behind.

"1,190" is 1190 to one reader and 1.19 to another. It is read only where the other numbers of the table, or the range
in which the value must lie, settle which is meant; otherwise the user is asked.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Literal, TypeAlias

from meltdoe.units import canonical, convert, dimension, same_dimension

__all__ = [
    "CellFault",
    "DecimalMark",
    "decimal_mark",
    "number_text",
    "read_number",
    "read_quantity",
    "read_whole",
    "shortened",
]

DecimalMark: TypeAlias = Literal[".", ","]

_SPACES = " \u00a0\u202f\u2009'’"
_SPACED = re.compile(rf"[-+]?[0-9]{{1,3}}([{_SPACES}])[0-9]{{3}}(?:\1[0-9]{{3}})*(?:[.,][0-9]+)?\Z")
_PLAIN = re.compile(r"[-+]?[0-9]+(?:[eE][-+]?[0-9]+)?\Z")
_ONE_MARK = re.compile(r"[-+]?([0-9]*)([.,])([0-9]*)((?:[eE][-+]?[0-9]+)?)\Z")
_GROUPS = re.compile(r"[-+]?[0-9]{1,3}(?:([.,])[0-9]{3})(?:\1[0-9]{3})*(?:(?!\1)[.,][0-9]*)?\Z")
_NUMBER_THEN_UNIT = re.compile(rf"([-+−]?[0-9.,](?:[0-9.,{_SPACES}]*[0-9.,])?(?:[eE][-+]?[0-9]+)?)\s*(.*)\Z", re.DOTALL)


class CellFault(ValueError):
    """A cell that cannot be read: what is wrong with it, and how to mend it."""

    def __init__(self, what: str, mend: str) -> None:
        self.what = what
        self.mend = mend
        super().__init__(f"{what}; {mend}")

    def under(self, column: str) -> CellFault:
        """The same fault with the name of its column in front, where it does not begin with that."""
        return self if self.what.startswith(column) else CellFault(f"{column}: {self.what}", self.mend)


def shortened(text: str, most: int = 60) -> str:
    """A text on one line and not too long, for a line that people read."""
    plain = " ".join(text.split())
    return plain if len(plain) <= most else f"{plain[: most - 3]}..."


def number_text(value: float) -> str:
    """The shortest text that reads back as the same number; whole numbers without a point."""
    whole = abs(value) < 1e15 and value == int(value)
    return str(int(value)) if whole else repr(float(value))


def _bare(text: str) -> str:
    plain = text.strip().replace("−", "-")
    spaced = _SPACED.match(plain)
    return plain.replace(spaced.group(1), "") if spaced else plain


def _ambiguous(whole: str, fraction: str, exponent: str) -> bool:
    """Whether the one mark could part thousands: 1,190 but not 0,190 or 11,90."""
    return 1 <= len(whole) <= 3 and whole[0] != "0" and len(fraction) == 3 and not exponent


def decimal_mark(texts: Iterable[str]) -> DecimalMark | None:
    """The decimal mark that the numbers among `texts` show beyond doubt; None where they show none or both."""
    seen: set[str] = set()
    for text in texts:
        head = _NUMBER_THEN_UNIT.match(text.strip())
        plain = _bare(head.group(1) if head else text)
        one = _ONE_MARK.match(plain)
        if one and one.group(1) + one.group(3) and not _ambiguous(one.group(1), one.group(3), one.group(4)):
            seen.add(one.group(2))
        elif not one and _GROUPS.match(plain):
            marks = [character for character in plain if character in ".,"]
            last = marks[-1]
            seen.add(last if marks.count(last) == 1 else {".": ",", ",": "."}[last])
    if seen == {"."}:
        return "."
    return "," if seen == {","} else None


def read_number(
    text: str, decimal: DecimalMark | None = None, within: tuple[float, float] = (-math.inf, math.inf)
) -> float:
    """A finite number.

    Parameters
    ----------
    decimal : the mark that the table uses, where that is known.
    within : where the value must lie; asked only where a mark could be decimal or thousands.

    Raises
    ------
    CellFault
        Where the text is no number, or could be two.
    """
    plain = _bare(text)
    one = _ONE_MARK.match(plain)
    if _PLAIN.match(plain):
        value = float(plain)
    elif one and one.group(1) + one.group(3):
        mark = one.group(2)
        as_decimal = float(plain.replace(",", "."))
        value = as_decimal
        if _ambiguous(one.group(1), one.group(3), one.group(4)):
            as_thousands = float(plain.replace(mark, ""))
            fitting = [v for v in (as_decimal, as_thousands) if within[0] <= v <= within[1]]
            value = as_decimal if decimal == mark else as_thousands
            # a table's own mark settles it, unless only the other reading can be meant: then nothing is guessed
            if decimal is None or (decimal == mark and fitting == [as_thousands]):
                if decimal is not None or len(fitting) != 1:
                    raise CellFault(
                        f'"{shortened(text)}" can be {number_text(as_decimal)} or {number_text(as_thousands)}',
                        f'write {number_text(as_thousands)} without the "{mark}", or {as_decimal:.4f}',
                    )
                value = fitting[0]
    elif not one and _GROUPS.match(plain):
        marks = [character for character in plain if character in ".,"]
        thousands, last = marks[0], marks[-1]
        if decimal == thousands:
            raise CellFault(f'"{shortened(text)}" is not a number', "write a plain number such as 1190 or 12.5")
        plain = plain.replace(thousands, "")
        value = float(plain if last == thousands else plain.replace(last, "."))
    else:
        raise CellFault(f'"{shortened(text)}" is not a number', "write a plain number such as 1190 or 12.5")
    if not math.isfinite(value):
        raise CellFault(f'"{shortened(text)}" is too large', "write a number that can be measured")
    return value


def read_whole(text: str, decimal: DecimalMark | None = None) -> int:
    """A whole number from 1; "4.0" counts as one, since spreadsheets write it so."""
    value = read_number(text, decimal, (1, 999_999))
    if value != int(value) or not 1 <= value <= 999_999:
        raise CellFault(f'"{shortened(text)}" is not a whole number from 1', "write 1, 2, 3, ...")
    return int(value)


def read_quantity(
    text: str, unit: str, decimal: DecimalMark | None = None, within: tuple[float, float] = (-math.inf, math.inf)
) -> float:
    """A number of `unit`; where the text names another unit of the same kind it is converted.

    Raises
    ------
    CellFault
        Where the number cannot be read or the unit does not fit.
    """
    match = _NUMBER_THEN_UNIT.match(text.strip())
    if match is None or not match.group(2):
        return read_number(text, decimal, within)
    given = match.group(2).strip()
    if canonical(given).casefold() == canonical(unit).casefold():
        return read_number(match.group(1), decimal, within)
    if not unit or not same_dimension(given, unit):
        expected = f"in {unit}" if unit else "without a unit"
        known = "" if dimension(given) or not unit else ", which is no unit known here"
        raise CellFault(f'"{shortened(text)}" has the unit "{shortened(given)}"{known}', f"write the number {expected}")
    value = convert(read_number(match.group(1), decimal), given, unit)
    return float(f"{value:.10g}")  # the factors of units leave dust in the 16th digit
