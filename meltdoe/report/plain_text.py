"""The user's own words made fit to be shown: nothing that steers a terminal, a page or the direction of writing."""

from __future__ import annotations

import unicodedata

__all__ = ["one_line", "plain", "shortened", "wrapped"]

# They turn the direction of the text after them and so can make a page say something else than it holds.
_TURNING = frozenset("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u061c\ufeff")


def plain(text: str) -> str:
    """The text without control characters, half surrogates and marks of direction; line ends and tabs stay."""
    return "".join(
        c for c in text if c in "\n\t" or (unicodedata.category(c) not in ("Cc", "Cs", "Cn") and c not in _TURNING)
    )


def one_line(text: str) -> str:
    """`plain` text with every run of white space made one blank."""
    return " ".join(plain(text).split())


def shortened(text: str, most: int) -> str:
    """One line of at most `most` characters; what is cut off is shown by an ellipsis."""
    line = one_line(text)
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"


def wrapped(text: str, width: int, lines: int = 2) -> str:
    """Broken into at most `lines` lines of `width` characters, long words too; the rest is shown by an ellipsis."""
    rows = [""]
    for word in one_line(text).split(" "):
        joined = f"{rows[-1]} {word}".strip()
        if len(joined) <= width:
            rows[-1] = joined
            continue
        pieces = [word[i : i + width] for i in range(0, len(word), width)] or [""]
        rows = [*rows, *pieces] if rows[-1] else pieces
    if len(rows) > lines:
        rows = [*rows[: lines - 1], shortened(f"{rows[lines - 1]}…", width)]
        if not rows[-1].endswith("…"):
            rows[-1] = f"{rows[-1][: width - 1]}…"
    return "\n".join(rows)
