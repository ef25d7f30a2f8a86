"""How the user's own words are shown in a problem."""

from __future__ import annotations

from collections.abc import Iterable

from meltdoe import wording

__all__ = ["listed", "quoted"]


def quoted(value: object) -> str:
    """The user's own text in quotation marks, on one line and not too long."""
    try:
        text = str(value)
    except ValueError:  # Python writes out no whole number of more than 4300 digits
        text = "a number of thousands of digits"
    text = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    return f'"{text if len(text) <= 60 else text[:57] + "..."}"'


def listed(words: Iterable[str]) -> str:
    """Words as a phrase, each in quotation marks: "a", "b" and "c"."""
    return wording.listed([quoted(word) for word in words]) or "none"
