"""Whose column is this? Headings of a table from elsewhere, matched to the columns of the log.

A heading is matched by its exact name, then without regard to capitals and spaces, then by the label or question of
the series file, then by likeness: a slip of the pen, a name among other words, or words that begin as those of a label
do. A unit behind the words counts as a unit. A closer way always goes first, and a heading that fits two columns
equally is never guessed.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from meltdoe.log.numbers import shortened
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import canonical, dimension

__all__ = ["ColumnMatch", "MatchedColumn", "Target", "log_targets", "match_columns", "nearest"]

Way: TypeAlias = Literal["told", "exact", "same word", "label", "likeness", "contents"]

_UNIT = re.compile(r"(.*?)\s*[\[(]\s*(?:in\s+)?([^\])]*?)\s*[\])]\s*\Z", re.DOTALL)
_COMMA_UNIT = re.compile(r"(.*),\s*(\S{1,8})\s*\Z", re.DOTALL)
_BARE_UNIT = re.compile(r"(.*[^\W_])[\s_]+(?:in[\s_]+)?(\S{1,6})\s*\Z", re.DOTALL)
_WORD = re.compile(r"[^\W_]+")
_LIKE_ENOUGH = 0.8
_NAMED, _BEGUN = 0.95, 0.9  # likeness of a heading that holds the name, or begins the words of the label
_SHORTEST_BEGINNING = 3
_CLEARLY_BETTER = 0.1
_SLIP = 0.7  # "remark" is 0.6 like "peak"; one wrong letter in four leaves 0.75
_OTHER_WORDS = {  # names that people give to the columns every log has
    "melt": ("melt number", "melt no", "no", "number", "nr"),
    "mould": ("mould number", "mold", "casting"),
    "firing": ("firing number", "firing no", "kiln firing", "heat"),
    "date": ("day", "melted on", "date of melt"),
    "note": ("notes", "remark", "remarks", "comment", "comments", "observation", "observations"),
}


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that `word` was probably meant to be: another word for the same column, or a slip of the pen."""
    key = _key(word)
    by_key = {_key(name): name for name in known}
    for name, others in _OTHER_WORDS.items():
        if name in by_key and key not in by_key and key in {_key(other) for other in others}:
            return by_key[name]
    close = difflib.get_close_matches(key, list(by_key), n=1, cutoff=_SLIP)
    return by_key[close[0]] if close else None


def _key(text: str) -> str:
    return "".join(character for character in text.casefold() if character.isalnum())


@dataclass(frozen=True, slots=True)
class Target:
    """A column of the log, with the other names that people give it."""

    name: str
    titles: tuple[str, ...] = ()
    unit: str = ""


@dataclass(frozen=True, slots=True)
class MatchedColumn:
    """One heading and the column it stands for; `unit` is set where the heading names another unit than the series."""

    heading: str
    name: str
    way: Way
    unit: str = ""

    def __str__(self) -> str:
        unit = f", in {self.unit}" if self.unit else ""
        return f'"{shortened(self.heading)}" is {self.name} ({self.way}{unit})'


@dataclass(frozen=True, slots=True)
class ColumnMatch:
    """The proposal for a whole table.

    Parameters
    ----------
    unmatched : headings that stand for no column.
    doubtful : headings that fit several columns, or columns that several headings fit, as sentences.
    """

    matched: tuple[MatchedColumn, ...]
    unmatched: tuple[str, ...]
    doubtful: tuple[str, ...]


def log_targets(series: MeltSeries) -> tuple[Target, ...]:
    """Every column of the log with its label or question and its unit."""
    always = {name: Target(name, others) for name, others in _OTHER_WORDS.items()}
    return (
        always["melt"],
        *((always["mould"],) if series.moulds_per_melt > 1 else ()),
        always["firing"],
        always["date"],
        *(Target(factor.name, (factor.label,), getattr(factor, "unit", "")) for factor in series.factors),
        *(Target(outcome.name, (outcome.question,), outcome.unit) for outcome in series.outcomes),
        *(Target(c.name, (c.label,), c.unit) for c in series.circumstances),
        always["note"],
    )


def _without_unit(heading: str) -> tuple[str, str]:
    match = _UNIT.match(heading) or _COMMA_UNIT.match(heading)
    if match and match.group(1).strip():
        return match.group(1), match.group(2)
    bare = _BARE_UNIT.match(heading)
    return (bare.group(1), bare.group(2)) if bare and dimension(canonical(bare.group(2))) else (heading, "")


def _likeness(stem: str, target: Target) -> float:
    key = _key(stem)
    names = [_key(name) for name in (target.name, *target.titles) if name]
    slip = max((difflib.SequenceMatcher(None, key, name).ratio() for name in names if name), default=0.0)
    words = _WORD.findall(stem.casefold())
    named = set(_WORD.findall(target.name.casefold()))
    if named and named <= set(words):
        return max(slip, _NAMED)
    if any(_begins(words, _WORD.findall(title.casefold())) for title in target.titles):
        return max(slip, _BEGUN)
    return slip


def _begins(words: Sequence[str], title: Sequence[str]) -> bool:
    """Whether each word of more than two letters begins one of the title, in its order; a lone word only the first."""
    said = [word for word in words if len(word) >= _SHORTEST_BEGINNING]
    if len(said) < 2:
        return bool(said and title) and title[0].startswith(said[0])
    left = iter(title)
    return all(any(_one_stem(word, other) for other in left) for word in said)


def _one_stem(word: str, other: str) -> bool:
    """Whether one of two words begins the other: temp and temperature, stayed and stay."""
    return other.startswith(word) or (len(other) > _SHORTEST_BEGINNING and word.startswith(other))


def _fits(heading: str, targets: Sequence[Target], way: Way) -> list[Target]:
    stem = _key(_without_unit(heading)[0])
    keys = {_key(heading), stem} - {""}
    if way == "exact":
        return [target for target in targets if target.name == heading.strip()]
    if way == "same word":
        return [target for target in targets if _key(target.name) in keys]
    if way == "label":
        return [target for target in targets if keys & {_key(title) for title in target.titles if title}]
    scored = sorted(
        ((_likeness(_without_unit(heading)[0], target), i) for i, target in enumerate(targets)), reverse=True
    )
    close = [(score, i) for score, i in scored if score >= _LIKE_ENOUGH]
    return [targets[i] for score, i in close if score > close[0][0] - _CLEARLY_BETTER]


def match_columns(
    headings: Sequence[str], targets: Sequence[Target], told: Mapping[str, str] | None = None
) -> ColumnMatch:
    """Propose which heading stands for which column.

    Parameters
    ----------
    told : headings that the user has settled; an empty name leaves the heading out of the match.
    """
    told = told or {}
    by_name = {target.name: target for target in targets}
    matched: dict[str, MatchedColumn] = {}
    doubtful: list[str] = []

    def take(heading: str, target: Target, way: Way) -> None:
        unit = canonical(_without_unit(heading)[1])
        other = target.unit and dimension(unit) is not None and unit != canonical(target.unit)
        matched[heading] = MatchedColumn(heading, target.name, way, unit if other else "")

    for heading in headings:
        if told.get(heading) in by_name:
            take(heading, by_name[told[heading]], "told")
    left = [heading for heading in headings if heading not in told]
    ways: tuple[Way, ...] = ("exact", "same word", "label", "likeness")
    for way in ways:
        free = [target for target in targets if target.name not in {m.name for m in matched.values()}]
        fits = {heading: _fits(heading, free, way) for heading in left}
        wanted = [target.name for found in fits.values() for target in found]
        for heading, found in fits.items():
            if len(found) > 1:
                doubtful.append(f'"{shortened(heading)}" can be {" or ".join(target.name for target in found)}')
            elif found and wanted.count(found[0].name) > 1:
                rivals = [h for h, other in fits.items() if found[0] in other]
                doubtful.append(_rivals(found[0].name, rivals))
            elif found:
                take(heading, found[0], way)
        left = [heading for heading, found in fits.items() if not found]
    return ColumnMatch(
        tuple(matched[heading] for heading in headings if heading in matched),
        tuple(heading for heading in headings if heading in left or told.get(heading) == ""),
        tuple(dict.fromkeys(doubtful)),
    )


def _rivals(name: str, headings: Sequence[str]) -> str:
    return f"{name} can be " + " or ".join(f'"{shortened(heading)}"' for heading in headings)
