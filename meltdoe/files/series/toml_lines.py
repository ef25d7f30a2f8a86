"""Which line of the user's file each key stands on, and TOML syntax errors as a `Problem`.

`tomllib` reads the file and decides what is valid, but forgets where things stood. `_Walker` goes through the same text
a second time, trusting it to be valid, and only notes the line of every block, key and list member.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

from meltdoe.errors import ProblemsFound

__all__ = ["KeyPath", "TomlDocument", "parse_toml"]

KeyPath: TypeAlias = tuple[str | int, ...]  # ("factor", 0, "low") is the key low of the first [[factor]]


@dataclass(frozen=True, slots=True)
class TomlDocument:
    """A parsed TOML text with the line, from 1, of every key path in it.

    Parameters
    ----------
    ends : by heading (the empty path for the top of the file), the line where the last key directly below it ends.
    """

    data: Mapping[str, object]
    lines: Mapping[KeyPath, int]
    ends: Mapping[KeyPath, int]

    def line(self, path: KeyPath) -> int:
        """The line of a key, or of the nearest block around it where the key itself is missing."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path[:-1]
        return 1


_STRING = re.compile(
    r'"""(?:[^\\"]|\\.|"{1,2}(?!"))*"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^,\]}\n#]*")
_BLANK = re.compile(r"[ \t]*")
_BLANK_LINES = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")


class _Walker:
    """Walks through a valid TOML text; `lines` and `ends` are complete after `document`."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self.ends: dict[KeyPath, int] = {(): 0}
        self.counts: dict[KeyPath, int] = {}  # how many [[blocks]] of each path so far
        self.breaks = [match.start() for match in re.finditer("\n", text)]

    def line(self, at: int) -> int:
        return bisect_right(self.breaks, at - 1) + 1

    def note(self, path: KeyPath, at: int) -> None:
        line = self.line(at)
        for end in range(1, len(path) + 1):
            self.lines.setdefault(path[:end], line)

    def skip(self, blank: re.Pattern[str]) -> None:
        match = blank.match(self.text, self.at)
        if match is not None:
            self.at = match.end()

    def document(self) -> None:
        here: KeyPath = ()
        self.skip(_BLANK_LINES)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                here = self.heading()
            else:
                self.pair(here)
            self.ends[here] = self.line(self.at)
            self.skip(_BLANK_LINES)

    def heading(self) -> KeyPath:
        start = self.at
        brackets = 2 if self.text.startswith("[[", start) else 1
        self.at += brackets
        names = self.key()
        self.at += brackets
        path: KeyPath = ()
        for i, name in enumerate(names):
            path = (*path, name)
            if brackets == 2 and i == len(names) - 1:
                self.counts[path] = self.counts.get(path, 0) + 1
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        self.note(path, start)
        return path

    def key(self) -> tuple[str, ...]:
        names: list[str] = []
        while True:
            self.skip(_BLANK)
            quoted = _STRING.match(self.text, self.at)
            match = quoted or _BARE_KEY.match(self.text, self.at)
            if match is None:  # not reached in a valid text; moving on keeps the walk finite
                self.at += 1
                return tuple(names)
            names.append(tomllib.loads(f"name = {match[0]}")["name"] if quoted else match[0])
            self.at = match.end()
            self.skip(_BLANK)
            if not self.text.startswith(".", self.at):
                return tuple(names)
            self.at += 1

    def pair(self, base: KeyPath) -> None:
        start = self.at
        path = (*base, *self.key())
        self.note(path, start)
        self.at += 1  # the sign =
        self.skip(_BLANK)
        self.value(path)

    def value(self, path: KeyPath) -> None:
        opening = self.text[self.at : self.at + 1]
        if opening == "[":
            self.members(path, "]")
        elif opening == "{":
            self.members(path, "}")
        else:
            match = _STRING.match(self.text, self.at) or _BARE_VALUE.match(self.text, self.at)
            self.at = match.end() if match is not None else len(self.text)

    def members(self, path: KeyPath, closing: str) -> None:
        self.at += 1
        position = 0
        self.skip(_BLANK_LINES)
        while self.at < len(self.text) and self.text[self.at] != closing:
            if self.text[self.at] == ",":
                self.at += 1
            elif closing == "}":
                self.pair(path)
            else:
                self.note((*path, position), self.at)
                self.value((*path, position))
                position += 1
            self.skip(_BLANK_LINES)
        self.at += 1


# beginning of tomllib's message (Python 3.11 to 3.14): what is wrong, how to mend it
_SYNTAX = (
    ("Cannot overwrite a value", "gives a key that was given before", "keep only one of the two"),
    ("Duplicate inline table key", "gives a key that was given before", "keep only one of the two"),
    (
        "Cannot declare",
        "opens a block that was opened before",
        "put both parts into one block, or write two brackets around the name, as in [[factor]], to begin another one",
    ),
    ("Unclosed array", "opens a list that is never closed", 'add "]" after the last member'),
    ("Unclosed inline table", "has a brace that is never closed", 'add "}" after the last pair, on the same line'),
    ("Unterminated string", "opens a text that is never closed", "add the closing quotation mark"),
    ("Illegal character '\\n'", "opens a text that is never closed", "add the closing quotation mark"),
    ("Illegal character", "holds a character that is not allowed there", "type the line anew"),
    (
        "Invalid value",
        "has a value that cannot be read",
        "put text in quotation marks, write numbers with a decimal point, and true or false in small letters",
    ),
    ("Invalid date or datetime", "has a date that does not exist", "write dates as 2026-11-25"),
    (
        "Expected newline or end of document",
        "has something left over after its value",
        "write one key = value to a line, numbers with a decimal point, and begin remarks with #",
    ),
    ("Expected '='", 'has no "=" after the key', "write key = value, or begin a remark with #"),
    ("Invalid statement", "cannot be read", "write key = value, or begin a remark with #"),
    ("Invalid initial character for a key part", "has a key that cannot be read", "write key = value"),
    ("Unescaped '\\'", "has a backslash in its text", r"write two, as in \\, or use single quotation marks"),
    ("Invalid hex value", "has a backslash in its text", r"write two, as in \\, or use single quotation marks"),
    ("Escaped character", "has a backslash in its text", r"write two, as in \\, or use single quotation marks"),
    ("Cannot mutate immutable namespace", "adds to a block that is closed already", "put both parts into one block"),
    ("Cannot redefine namespace", "adds to a block that is closed already", "put both parts into one block"),
    ("Exceeds the limit", "has a number of thousands of digits", "write a shorter number"),
    ("Expected ']'", "has a block heading that is not closed", 'add "]"'),
    ("Expected ']]'", "has a block heading that is not closed", 'add "]]"'),
)
_KEY_TROUBLE = ("Expected '='", "Invalid initial character for a key part", "Invalid statement")
_REST = " (the rest of the file cannot be checked before that)"
_PLACE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)\Z")
_OPENS_LIST = re.compile(r"=\s*\[")


def _syntax_problem(message: str, text: str, file: str) -> ProblemsFound:
    rows = text.split("\n")
    place = _PLACE.search(message)
    filled = [number for number, row in enumerate(rows, start=1) if row.strip()] or [1]
    line = int(place[1]) if place is not None and place[1] else filled[-1]
    if message.startswith("Unclosed array"):  # tomllib names the line where it gave up, the user needs the bracket's
        line = next((n for n in range(min(line, len(rows)), 0, -1) if _OPENS_LIST.search(rows[n - 1])), line)
    elif message.startswith("Exceeds the limit"):  # comes without a place
        line = max(range(1, len(rows) + 1), key=lambda n: len(rows[n - 1]))
    row = rows[line - 1] if line <= len(rows) else ""
    shown = "".join(sign if sign.isprintable() else " " for sign in row).strip()
    shown = shown if len(shown) <= 60 else shown[:57] + "..."
    if message.startswith(_KEY_TROUBLE) and not _STRING.sub("", row).partition("#")[0].isascii():
        mend = 'put such a key in quotation marks, as in "flüx" = 20'
        return ProblemsFound.single(
            file, line, f"the line '{shown}' has a key with letters other than a to z", mend + _REST
        )
    for beginning, what, mend in _SYNTAX:
        if message.startswith(beginning):
            return ProblemsFound.single(file, line, f"the line '{shown}' {what}", mend + _REST)
    told = _PLACE.sub("", message)
    return ProblemsFound.single(
        file, line, f"the line '{shown}' cannot be read ({told})", f"write key = value, or begin a remark with #{_REST}"
    )


def parse_toml(text: str, file: str) -> TomlDocument:
    """Parse a TOML text and find the line of every key in it.

    Parameters
    ----------
    file : the name to put into a problem.

    Raises
    ------
    ProblemsFound
        With exactly one problem, where the text is not valid TOML.
    """
    plain = text.replace("\r\n", "\n")
    try:
        data = tomllib.loads(plain)
        walker = _Walker(plain)
        walker.document()
    except RecursionError:
        raise ProblemsFound.single(file, None, "lists are nested too deeply to be read", "write plain lists") from None
    except ValueError as error:  # a number of thousands of digits is no TOMLDecodeError
        raise _syntax_problem(str(error), plain, file) from None
    return TomlDocument(data, walker.lines, walker.ends)
