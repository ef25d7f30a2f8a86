"""Fetching the keys of one block of series.toml: each is checked for its type, every fault is noted, none is raised."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from meltdoe.errors import Problem
from meltdoe.files.quoting import listed, quoted
from meltdoe.files.series.series_keys import EXAMPLES, KEYS, OTHER_WORDS, SERIES_FILE, nearest
from meltdoe.files.series.toml_lines import KeyPath, TomlDocument
from meltdoe.units import Quantity, canonical, convert, convert_difference, dimension, known_units, parse_quantity

__all__ = ["Block", "Notes"]

_LARGEST = 1e12  # nothing in a workshop is larger; keeps later arithmetic away from overflow
_LONGEST_TEXT = 1000
_LONGEST_WORD = 60
_LARGEST_WHOLE = 2**63 - 1  # what TOML promises to carry


def _sort_of(value: object) -> str:
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, (int, float)):
        return "a number"
    names: dict[type, str] = {str: "text", list: "a list", dict: "a block of keys"}
    return names.get(type(value), "a date or time")


class Notes:
    """Collects the problems of one file."""

    def __init__(self, document: TomlDocument) -> None:
        self.document = document
        self._problems: list[Problem] = []

    def add(self, path: KeyPath, what: str, mend: str) -> None:
        self._problems.append(Problem(SERIES_FILE, self.document.line(path), what, mend))

    @property
    def problems(self) -> tuple[Problem, ...]:
        """All problems so far, in line order."""
        return tuple(sorted(self._problems, key=lambda problem: problem.line or 0))


class Block:
    """One block of the file.

    Parameters
    ----------
    heading : its place in `KEYS`, or None for a table whose keys are names of the user.
    called : how a problem speaks of it ('factor "flux"'); empty for the top of the file.

    The fetching methods return None where the key is missing or faulty; `sound` tells whether any was faulty.
    """

    def __init__(
        self, notes: Notes, path: KeyPath, table: Mapping[str, object], heading: str | None, called: str
    ) -> None:
        self.notes = notes
        self.path = path
        self.table = table
        self.heading = heading
        self.called = called
        self.sound = True
        if heading is not None:
            self._refuse_unknown(KEYS[heading])

    def __contains__(self, key: str) -> bool:
        return key in self.table

    def fault(self, key: str | None, what: str, mend: str) -> None:
        """Note a fault of one key, or of the whole block."""
        self.sound = False
        path = self.path if key is None else (*self.path, key)
        self.notes.add(path, f"{self.called}: {what}" if self.called else what, mend)

    def _refuse_unknown(self, known: Sequence[str]) -> None:
        for key in self.table:
            if key in known:
                continue
            other = OTHER_WORDS.get(key.casefold())
            meant = other if other in known else nearest(key, known)
            homes = [heading for heading, keys in KEYS.items() if key in keys]
            if meant is not None:
                mend = f"write {quoted(meant)}"
            elif homes == [""]:
                mend = "move it to the top of the file, above the first block"
            elif len(homes) == 1:
                mend = f"move it below {homes[0]}"
            else:
                mend = f"take it out; the keys here are {listed(known)}"
            self.fault(key, f"the key {quoted(key)} is not known", mend)

    def refuse(self, keys: Iterable[str], kind: str) -> None:
        """Fault the keys that have no meaning beside `kind`."""
        for key in keys:
            if key in self.table:
                self.fault(key, f'"{key}" does not go with kind "{kind}"', "take the line out or change the kind")

    def missing(self, key: str) -> None:
        """Fault a key that must be there and is not."""
        self.fault(None, f'"{key}" is missing', f"add a line such as {key} = {EXAMPLES[key]}")

    def _wrong_sort(self, key: str, value: object, wanted: str) -> None:
        example = EXAMPLES.get(key)
        such_as = f", such as {key} = {example}" if example else ""
        self.fault(key, f'"{key}" is {_sort_of(value)} where {wanted} belongs', f"write {wanted}{such_as}")

    def _present(self, key: str, required: bool) -> object | None:
        value = self.table.get(key)
        if value is None and required:
            self.missing(key)
        return value

    def text(self, key: str, required: bool = False) -> str | None:
        """A text on one line; runs of white space become one space."""
        value = self._present(key, required)
        if value is None:
            return None
        if not isinstance(value, str):
            self._wrong_sort(key, value, "text in quotation marks")
            return None
        return self._tidy(key, value, required)

    def _tidy(self, key: str, value: str, required: bool) -> str | None:
        text = " ".join(value.split())
        if any(unicodedata.category(sign) in ("Cc", "Cf", "Cs") for sign in text):
            self.fault(key, f'"{key}" holds a character that cannot be shown', "type the text anew")
        elif len(text) > _LONGEST_TEXT:
            self.fault(key, f'"{key}" has more than {_LONGEST_TEXT} characters', "shorten it")
        elif required and not text:
            self.fault(key, f'"{key}" is empty', "write something between the quotation marks")
        else:
            return text
        return None

    def word(self, key: str, allowed: Sequence[str], default: str | None = None) -> str | None:
        """One of a few words; without a default the key must be there."""
        value = self._present(key, required=default is None)
        if value is None:
            return default
        if isinstance(value, str) and value in allowed:
            return value
        meant = nearest(value, allowed) if isinstance(value, str) else None
        mend = f"write {quoted(meant)}" if meant else f"write one of {listed(allowed)}"
        self.fault(key, f'"{key}" is {quoted(value)}, which is not one of {listed(allowed)}', mend)
        return None

    def words(self, key: str, least: int, required: bool = False) -> tuple[str, ...] | None:
        """A list of at least `least` different texts."""
        value = self._present(key, required)
        if value is None:
            return None
        if not isinstance(value, list) or not all(isinstance(member, str) for member in value):
            if isinstance(value, list):
                self.fault(key, f'"{key}" holds something that is not text', "put every member in quotation marks")
            else:
                self._wrong_sort(key, value, "a list of texts")
            return None
        tidied = [self._tidy(key, member, required=True) for member in value]
        texts = tuple(text for text in tidied if text is not None)
        if len(texts) < len(tidied):
            return None
        folded = [text.casefold() for text in texts]
        twice = next((text for i, text in enumerate(texts) if text.casefold() in folded[:i]), None)
        if twice is not None:
            self.fault(key, f'"{key}" holds {quoted(twice)} twice', "take one of them out or rename it")
        elif len(texts) < least:
            self.fault(key, f'"{key}" holds {len(texts)} where at least {least} are needed', "add to the list")
        elif any(len(text) > _LONGEST_WORD for text in texts):
            self.fault(key, f'"{key}" holds a text of more than {_LONGEST_WORD} characters', "shorten it")
        else:
            return texts
        return None

    def whole(self, key: str, least: int = 1, most: int = 10_000) -> int | None:
        """A whole number from `least` to `most`."""
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            self._wrong_sort(key, value, "a whole number")
            return None
        if not least <= value <= min(most, _LARGEST_WHOLE):
            side = f"{least} or more" if value < least else f"{most} or less"
            self.fault(key, f'"{key}" is {quoted(value)[1:-1]}', f"write a whole number of {side}")
            return None
        return value

    def number(
        self, key: str, unit: str | None = None, *, required: bool = False, difference: bool = False
    ) -> float | None:
        """A finite number; with `unit` also text that carries its own unit, converted.

        Parameters
        ----------
        difference : whether the number is a step, for which the zeros of temperature scales do not count.
        """
        value = self._present(key, required)
        return None if value is None else self.as_number(key, value, unit, difference)

    def as_number(self, key: str, value: object, unit: str | None, difference: bool = False) -> float | None:
        """`number` for a value that was already taken out of the block."""
        if isinstance(value, bool) or not isinstance(value, (int, float, str)) or (isinstance(value, str) and not unit):
            self._wrong_sort(key, value, "a number without quotation marks" if isinstance(value, str) else "a number")
            return None
        number: int | float
        if isinstance(value, str):
            try:
                number = _converted(parse_quantity(value, unit), unit or "", difference)
            except ValueError as error:
                self.fault(key, f'"{key}": {_one_line(error)}', _unit_help(unit or ""))
                return None
        else:
            number = value
        if isinstance(number, float) and not math.isfinite(number):
            self.fault(key, f'"{key}" is {number}, which is no finite number', "write a plain number")
        elif abs(number) > _LARGEST:
            self.fault(key, f'"{key}" is larger than anything in a workshop', "write a smaller number")
        else:
            return float(number)
        return None

    def between(
        self, key: str, low: float, high: float = math.inf, *, required: bool = False, ends: bool = False
    ) -> float | None:
        """A number between two ends, which themselves count only where `ends` is true."""
        number = self.number(key, required=required)
        if number is None or low < number < high or (ends and low <= number <= high):
            return number
        if math.isinf(high):
            mend = f"write a number of {low:g} or more" if ends else f"write a number above {low:g}"
        else:
            mend = f"write a number between {low:g} and {high:g}, such as {EXAMPLES.get(key, '0.5')}"
        self.fault(key, f'"{key}" is {number:g}', mend)
        return None

    def temperature(self, key: str) -> Quantity | None:
        """A temperature as text with its unit."""
        return self.quantity(key, "temperature")

    def quantity(self, key: str, kind: str, *, least: float | None = None, required: bool = False) -> Quantity | None:
        """A number with its unit, as text.

        Parameters
        ----------
        kind : what it measures, as `meltdoe.units.dimension` calls it.
        least : what it has to be above, in any unit; None where anything goes.
        """
        value = self._present(key, required)
        if value is None:
            return None
        mend = f"write a number with its unit, such as {key} = {EXAMPLES[key]}"
        if not isinstance(value, str):
            self.fault(key, f'"{key}" is {_sort_of(value)} where text with a unit belongs', mend)
            return None
        try:
            quantity = parse_quantity(value)
        except ValueError as error:
            self.fault(key, f'"{key}": {_one_line(error)}', mend)
            return None
        if dimension(quantity.unit) != kind:
            self.fault(key, f'"{key}" is in {quantity.unit}, which is no unit of {kind}', mend)
        elif abs(quantity.value) > _LARGEST:
            self.fault(key, f'"{key}" is larger than anything in a workshop', "write a smaller number")
        elif least is not None and quantity.value <= least:
            self.fault(key, f'"{key}" is {quantity}', f"write more than {least:g} {quantity.unit}")
        else:
            return quantity
        return None

    def block(self, key: str) -> Block | None:
        """The block [key], or None."""
        value = self.table.get(key)
        if value is None:
            return None
        heading = f"[{key}]"
        if not isinstance(value, dict):
            what = "is written as [[...]]" if _is_tables(value) else f"is {_sort_of(value)}"
            self.fault(key, f'"{key}" {what} where a block {heading} belongs', f"write {heading} on a line of its own")
            return None
        return Block(self.notes, (*self.path, key), value, heading, heading)

    def table_of_names(self, key: str) -> Block | None:
        """A table whose keys are names of factors or outcomes, such as `at` and `loss`."""
        value = self.table.get(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self._wrong_sort(key, value, "a table of names and values")
            return None
        called = f"{self.called}: {key}" if self.called else key
        return Block(self.notes, (*self.path, key), value, None, called)

    def blocks(self, key: str, most: int) -> list[Block]:
        """All blocks [[key]], in file order."""
        value = self.table.get(key, [])
        heading = f"[[{key}]]"
        if not isinstance(value, list) or not all(isinstance(member, dict) for member in value):
            what = f"is written as [{key}]" if isinstance(value, dict) else f"is {_sort_of(value)}"
            self.fault(
                key, f'"{key}" {what} where {heading} belongs', f"write {heading} with two brackets on each side"
            )
            return []
        if len(value) > most:
            self.notes.add(
                (*self.path, key, most), f"there are {len(value)} {heading} blocks", f"keep to {most} or fewer"
            )
        found = []
        for i, table in enumerate(value[:most]):
            name = table.get("name")
            called = f"{key} {quoted(name)}" if isinstance(name, str) else f"{key} {i + 1}"
            found.append(Block(self.notes, (*self.path, key, i), table, heading, called))
        return found


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and any(isinstance(member, dict) for member in value)


def _one_line(error: ValueError) -> str:
    return re.sub(r"\s+", " ", str(error))[:150]


def _converted(quantity: Quantity, unit: str, difference: bool) -> float:
    if quantity.unit == canonical(unit):
        return quantity.value
    turn = convert_difference if difference else convert
    return float(f"{turn(quantity.value, quantity.unit, unit):.10g}")  # 2012 °F is 1100 °C, not 1100.0000000000002


def _unit_help(unit: str) -> str:
    kind = dimension(unit)
    if kind is None:
        return f"write a plain number of {unit}"
    return f"write a plain number of {canonical(unit)}, or text with one of the units {', '.join(known_units(kind))}"
