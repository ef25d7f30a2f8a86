"""How things are strung together in a sentence, for every room: lists, melts, capitals."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["capital", "counted", "listed", "melts_phrase"]


def listed(parts: Sequence[str], most: int | None = None) -> str:
    """ "a", "a and b", "a, b and c"; with more than `most` parts the last are counted: "a, b and 7 others"."""
    if most is not None and len(parts) > most:
        # never a single one is left to be counted
        parts = [*parts[: most - 1], f"{len(parts) - most + 1} others"]
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def counted(number: int, thing: str) -> str:
    """ "1 edit", "2 edits"."""
    return f"{number} {thing}{'' if number == 1 else 's'}"


def melts_phrase(melts: Sequence[int]) -> str:
    """ "melt 3" or "melts 3, 5 and 6"; a run of more than two is said as "3 to 6"."""
    runs: list[list[int]] = []
    for melt in melts:
        if runs and melt == runs[-1][-1] + 1:
            runs[-1].append(melt)
        else:
            runs.append([melt])
    parts = []
    for run in runs:
        parts += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(melt) for melt in run]
    return f"{'melt' if len(melts) == 1 else 'melts'} {listed(parts)}"


def capital(text: str) -> str:
    """The text with its first letter made large."""
    return text[:1].upper() + text[1:]
