"""What reaches the screen: text for a person, or one JSON document on standard output and nothing else there."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, TextIO

from meltdoe.errors import WrongUsage

__all__ = ["ask", "can_ask", "hint", "inert", "print_json", "remember_folder", "say", "say_wrapped", "table", "warn"]

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
_WIDEST = 120  # characters of a line that is still easy to read
_FORMAT = 1  # 1: first form of the documents
_HINT = re.compile(
    r"\bmeltdoe (?:check|log|record|plan|sheets|analyse|next|report|options|rehearse|glass|buy)(?= --|[;,.)]| \.\.\.|$)"
)
_given: list[str] = []  # the series folder as it was typed; none where it is the present one


def remember_folder(folder: Path) -> Path:
    """Keep the series folder as it was typed, so that every command that is hinted at names it."""
    typed = str(folder)
    _given[:] = [] if folder == Path() else [typed if re.fullmatch(r"[\w./\\:~+-]+", typed) else f'"{typed}"']
    return folder


def hint(text: object) -> str:
    """The text with the series folder put into the commands that it hints at."""
    return _HINT.sub(lambda found: " ".join([found[0], *_given]), str(text))


def inert(text: object) -> str:
    """Text from a user's file with terminal control and direction marks taken out."""
    return _CONTROL.sub("\N{REPLACEMENT CHARACTER}", str(text))


def say(*lines: object) -> None:
    """Lines for a person, on standard output; in a terminal broken between words."""
    for line in lines:
        print(_laid(inert(line), sys.stdout))


def _laid(line: str, stream: TextIO) -> str:
    """The line as wide as the terminal, a figure with its sign; for a file or another program it stays one line."""
    if not stream.isatty():
        return line
    from shutil import get_terminal_size
    from textwrap import wrap

    width = min(get_terminal_size().columns, _WIDEST)
    if len(line) <= width:
        return line
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    whole = line.replace(" %", "\N{NO-BREAK SPACE}%")
    parts = wrap(whole, width, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False)
    return "\n".join(parts).replace("\N{NO-BREAK SPACE}", " ")


def say_wrapped(text: str, indent: str = "") -> None:
    """A paragraph for a person, in lines of 80 characters."""
    from textwrap import wrap

    say(*wrap(text, 80, initial_indent=indent, subsequent_indent=indent or "  "))


def warn(*lines: object) -> None:
    """Lines for a person, on standard error; commands hinted at name the series folder."""
    for line in lines:
        print(_laid(inert(hint(line)), sys.stderr), file=sys.stderr)


def ask(question: str, default: str | None = None) -> str:
    """One question in the terminal; Enter takes the default."""
    shown = f"{inert(question)} [{inert(default)}] " if default else f"{inert(question)} "
    print(shown, end="", file=sys.stderr, flush=True)
    answer = sys.stdin.readline()
    if not answer:
        print(file=sys.stderr)
        raise WrongUsage("the answers ended before the last question; nothing was written")
    return answer.strip() or (default or "")


def can_ask() -> bool:
    """Whether a person sits at the terminal."""
    return sys.stdin.isatty()


def print_json(document: Mapping[str, Any]) -> None:
    """One JSON document on standard output; numbers that JSON cannot hold become null."""
    escaped = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"  # so that no letter is lost on the way
    import json

    print(json.dumps({"format": _FORMAT, **plain(document)}, ensure_ascii=escaped, indent=1, allow_nan=False))


def plain(value: Any) -> Any:
    """Anything in a result as JSON types: arrays to lists, numpy numbers to numbers, infinities to null."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (str, bool)) or value is None:
        return value
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if isinstance(value, int) else str(value)


def table(headings: Sequence[str], rows: Iterable[Sequence[object]], widest: int = 80) -> list[str]:
    """A plain table in at most `widest` columns: numbers to the right, words to the left, long cells wrapped."""
    cells = [[inert(cell) for cell in row] for row in rows]
    columns = list(zip(*([list(headings), *cells] if cells else [list(headings)]), strict=True))
    widths = [max(len(cell) for cell in column) for column in columns]
    while sum(widths) + 2 * (len(widths) - 1) > widest and max(widths) > 12:
        widths[widths.index(max(widths))] -= 1
    right = [bool(cells) and all(_is_number(row[i]) for row in cells) for i in range(len(widths))]
    lines: list[str] = []
    for number, row in enumerate([list(headings), *cells]):
        parts = [_wrap(cell, width) for cell, width in zip(row, widths, strict=True)]
        for i in range(max(len(part) for part in parts)):
            line = [
                (part[i] if i < len(part) else "").rjust(width)
                if right[c]
                else (part[i] if i < len(part) else "").ljust(width)
                for c, (part, width) in enumerate(zip(parts, widths, strict=True))
            ]
            lines.append("  ".join(line).rstrip())
        if number == 0:
            lines.append("  ".join("-" * width for width in widths))
    return lines


def _is_number(text: str) -> bool:
    return bool(re.fullmatch(r"[-+]?[\d.,]+(\s?%)?|-|", text))


def _wrap(text: str, width: int) -> list[str]:
    from textwrap import wrap

    return wrap(text, width, break_long_words=True) or [""]
