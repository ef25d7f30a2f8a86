"""What one cell says: a setting, an outcome, a circumstance, a text; and the same things written back."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence

from meltdoe.log.column_match import nearest
from meltdoe.log.numbers import CellFault, DecimalMark, number_text, read_number, read_quantity, shortened
from meltdoe.series.belief import Circumstance
from meltdoe.series.factor import Amount, Factor, Setting
from meltdoe.series.outcome import Outcome, Seen, Unseen
from meltdoe.units import canonical, convert, dimension

__all__ = [
    "LONGEST_TEXT", "UNKNOWN", "clean_text", "outcome_cell", "read_actual", "read_circumstance", "read_outcome",
    "read_setting", "read_text", "says_unknown", "setting_cell", "text_cell",
]  # fmt: skip

LONGEST_TEXT = 5_000
UNKNOWN = "unknown"
"""What a cell of the log says where nobody knows any more how a factor was set."""
_TURNS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")  # they show letters in another order

_HOTTEST = 3000.0  # °C; no kiln of a workshop comes near it (common practice, no source)
_FARTHEST = 20  # times the larger end of its range; a hold over a weekend is nearer

_YES = {"yes", "y", "true", "t", "1", "pass", "passed", "ja", "j", "oui", "si", "sí"}
_NO = {"no", "n", "false", "f", "0", "fail", "failed", "nein", "nej", "nee", "non"}
_UNSEEN = {state.value: state for state in Unseen}
_NOT_KNOWN = {UNKNOWN, "not known", "?"}


def _loose(text: str) -> str:
    return " ".join(text.replace("_", " ").casefold().split())


def clean_text(text: str) -> str:
    """The text as it is kept: trimmed, one kind of line end, nothing that cannot be stored or shown."""
    if text.isprintable():  # nearly always, and far quicker than looking at every sign
        return text.strip()
    lines = text.replace("\r\n", "\n").replace("\r", "\n").replace("\ufeff", "")
    kept = "".join(c for c in lines if c in "\n\t" or (unicodedata.category(c) not in ("Cc", "Cs") and c not in _TURNS))
    return kept.strip()


def read_text(column: str, text: str) -> str:
    """A free text; raises CellFault where it is too long to keep."""
    kept = clean_text(text)
    if len(kept) > LONGEST_TEXT:
        raise CellFault(f"{column} has {len(kept)} characters", f"shorten it to {LONGEST_TEXT}")
    return kept


def _read_listed(column: str, text: str, options: Sequence[str], also: Sequence[str] = ()) -> str:
    """The option meant: by its word, by its word in other capitals, or as a number that a spreadsheet rewrote."""
    plain = clean_text(text)
    if plain in options:
        return plain
    same = [option for option in options if _loose(option) == _loose(plain)]
    if not same:
        same = [option for option in options if _number_or_none(option) is not None
                and _number_or_none(option) == _number_or_none(plain)]  # fmt: skip
    if len(same) == 1:
        return same[0]
    near = nearest(plain, options)
    words = ", ".join([*options, *also])
    raise CellFault(
        f'{column} says "{shortened(plain)}", which is none of its words',
        f'write "{near}", or another of: {words}' if near else f"write one of: {words}",
    )


def _number_or_none(text: str) -> float | None:
    try:
        return read_number(text)
    except CellFault:
        return None


def read_setting(factor: Factor, text: str, decimal: DecimalMark | None = None) -> Setting:
    """An actual setting: a number in the factor's unit (also beyond the planned range), or one of its options.

    Raises
    ------
    CellFault
        Where the cell is blank or cannot be read.
    """
    if not text.strip():
        raise CellFault(f"{factor.name} is blank", "write the setting that was used")
    if not isinstance(factor, Amount):
        return _read_listed(factor.name, text, factor.options)
    span = factor.high - factor.low
    try:
        value = read_quantity(text, factor.unit, decimal, (factor.low - span, factor.high + span))
    except CellFault as fault:
        raise fault.under(factor.name) from fault
    if wanted := _impossible(factor, value):
        raise CellFault(f"{factor.name} says {number_text(value)}{f' {u}' if (u := factor.unit) else ''}", wanted)
    return value


def _impossible(factor: Amount, value: float) -> str:
    """What would be possible, where the value can be no setting of this factor; empty where it can.

    Beyond the planned range is possible: kilns overshoot. A slip of the pen by a power of ten is not.
    """
    kind = dimension(factor.unit) if factor.unit else None
    if factor.scale == "log" and value <= 0:
        return "write a number above 0, as its scale is log"
    if kind == "temperature":
        possible = -273.15 <= convert(value, canonical(factor.unit), "°C") <= _HOTTEST
        return "" if possible else f"write a temperature that a kiln can have, at most {_HOTTEST:g} °C"
    if kind == "share" and factor.low >= 0 and not 0 <= value <= max(100.0, factor.high):
        return "write a share from 0 to 100"
    if factor.low >= 0 > value:
        return "write a number of 0 or more"
    most = _FARTHEST * max(abs(factor.low), abs(factor.high))
    return "" if abs(value) <= most else f"write at most {number_text(most)}, {_FARTHEST} times what was ever planned"


def says_unknown(text: str, words: Sequence[str] = ()) -> bool:
    """Whether a cell says that nobody knows: "unknown", "not known" or "?", unless that is one of its own words."""
    word = _loose(clean_text(text))
    return word in _NOT_KNOWN and word not in map(_loose, words)


def read_actual(factor: Factor, text: str, decimal: DecimalMark | None = None) -> Setting | None:
    """The setting of a melt that was made; None where the cell says that it is unknown. Raises as `read_setting`."""
    if says_unknown(text, () if isinstance(factor, Amount) else factor.options):
        return None
    try:
        return read_setting(factor, text, decimal)
    except CellFault as fault:
        raise CellFault(fault.what, f"{fault.mend}; or {UNKNOWN}, where nobody knows it any more") from fault


def read_outcome(outcome: Outcome, text: str, decimal: DecimalMark | None = None) -> Seen:
    """What an outcome cell says.

    Blank is not reached; "later" and "lost" in any capitals; yes or no (also y, n, true, false, 1, 0, pass, fail, and
    in some other languages); a grade's word; a number in the outcome's unit or with a unit that can be turned into it.

    Raises
    ------
    CellFault
        Where it says something else.
    """
    word = _loose(clean_text(text))
    if word in _UNSEEN:
        return _UNSEEN[word]
    name = outcome.name
    if outcome.kind == "pass":
        number = _number_or_none(word)
        if word in _YES or number == 1.0:
            return True
        if word in _NO or number == 0.0:
            return False
        raise CellFault(
            f'{name} says "{shortened(clean_text(text))}"', "write yes, no, later or lost, or leave it blank"
        )
    if outcome.kind == "grade":
        return _read_listed(name, text, outcome.grades, ("later", "lost"))
    low, high = outcome.bounds or (-math.inf, math.inf)
    try:
        value = read_quantity(text, outcome.unit, decimal, (low, high))
    except CellFault as fault:
        raise CellFault(f"{name}: {fault.what}", f"{fault.mend}, later or lost") from fault
    if not low <= value <= high:
        unit = f" {outcome.unit}" if outcome.unit else ""
        raise CellFault(
            f"{name} says {number_text(value)}{unit}, which cannot be",
            f"write a number between {number_text(low)} and {number_text(high)}",
        )
    return value


def read_circumstance(circumstance: Circumstance, text: str, decimal: DecimalMark | None = None) -> Setting | None:
    """A circumstance: one of its options, a number where it has a unit, else a text; None where blank."""
    plain = read_text(circumstance.name, text)
    if not plain:
        return None
    if circumstance.options:
        return _read_listed(circumstance.name, plain, circumstance.options)
    if circumstance.unit:
        try:
            return read_quantity(plain, circumstance.unit, decimal)
        except CellFault as fault:
            raise fault.under(circumstance.name) from fault
    number = _number_or_none(plain)
    return number if number is not None and number_text(number) == plain else plain  # batch "007" stays a text


def outcome_cell(outcome: Outcome, seen: Seen) -> str | float:
    """What is written for an outcome: yes, no, the grade, later, lost or nothing; a measurement as the full number."""
    if isinstance(seen, (int, float)) and outcome.kind == "measured":
        return float(seen)
    return outcome.show(seen)


def setting_cell(value: Setting) -> str | float:
    """What is written for a setting or a circumstance."""
    return value if isinstance(value, str) else float(value)


def text_cell(cell: str | float) -> str:
    """A cell as plain text."""
    return cell if isinstance(cell, str) else number_text(cell)
