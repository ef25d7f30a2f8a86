"""From a few short answers to a commented series.toml, for beginning a series by questions.

Phrases that are understood::

    flux 15 to 40 wt% step 1                       an amount
    peak 1150 to 1250 °C per firing                an amount, set once per firing
    packing: loose, firm                           a choice
    packing: loose < firm < hard                   options from least to most
    contained                                      an outcome that is yes or no
    fill: at least 95 %                            a measured outcome and what is good
    cracks: none, hairline | open, shattered       grades, best first; those before the | are good
    cracks after poured: none | open               looked at where poured was good, not the outcome just before
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from meltdoe.errors import ProblemsFound
from meltdoe.files.series.series_text import series_text
from meltdoe.files.series.series_toml import check_series_text
from meltdoe.series.budget import Budget, Kiln
from meltdoe.series.factor import Amount, Choice, Factor, Ordered, SetPer
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, parse_good_range
from meltdoe.units import canonical, dimension, parse_quantity

__all__ = [
    "Answers", "factor_from_phrase", "factor_words", "outcome_from_phrase", "outcome_words", "reads_like",
    "text_from_answers",
]  # fmt: skip

_NUMBER = r"[-+]?\d+(?:[.,]\d+)?"
_AMOUNT = re.compile(
    rf"(?P<name>[^\W\d][^:]*?) (?P<low>{_NUMBER}) ?(?P<unit_low>\D*?) ?(?:to|-|–) ?(?P<high>{_NUMBER})"
    rf"(?: ?(?P<unit>[^\d\s].*?))??(?: step (?P<step>{_NUMBER})(?: ?(?P<unit_step>[^\d\s]\S*))??)?"
    r"(?: per (?P<per>firing|melt|mould))?\Z"
)
_PER = re.compile(r" per (firing|melt|mould)\Z")
_OF_THE_KILN = ("temperature", "time", "temperature rate")  # dimensions that one heat of the kiln usually shares
_BARE_WORDS = {"yes", "no", "y", "n", "true", "false"}
_GOOD_RANGE = re.compile(r"(at least|at most|between)\b", re.IGNORECASE)
_AFTER = re.compile(r"(?P<name>[^:]+) after (?P<after>[^:]+?)\s*(?P<tail>(?::.*)?)\Z")
_PASS_WORDS = re.compile(r"\s*\(yes or no\)\Z", re.IGNORECASE)
_RANGE_UNIT = re.compile(rf"{_NUMBER}\s*(?P<unit>[^\d\s]\S*)\Z")


@dataclass(frozen=True, slots=True)
class Answers:
    """What a person said about the series they want to begin.

    Parameters
    ----------
    factors, outcomes : phrases as in the module's docstring; outcomes in the order of the work.
    max_temperature : the kiln's ceiling with its unit, such as "1280 °C"; empty where not known.
    """

    title: str
    factors: tuple[str, ...]
    outcomes: tuple[str, ...]
    goal: str = ""
    melts: int | None = None
    firings: int | None = None
    melts_per_firing: int = 1
    max_temperature: str = ""


def factor_from_phrase(phrase: str) -> Factor:
    """Read one factor; times, temperatures and rates are set per firing unless the phrase says otherwise.

    Raises
    ------
    ValueError
        Where the phrase has no known form; the message says how to write it.
    """
    text = " ".join(phrase.split())
    _refuse_bare(text, '"flux 15 to 40 wt%" or "packing: loose, firm"')
    tail = text.partition(":")[2].strip()
    if "|" in tail or _GOOD_RANGE.match(tail):
        raise ValueError(f'"{text}" reads like an outcome, and a factor is asked for; outcomes come next')
    if ":" in text:
        return _listed(text)
    match = _AMOUNT.match(text)
    if match is None:
        raise ValueError(f'"{text}" is not understood; write it like "flux 15 to 40 wt%" or "packing: loose, firm"')
    unit = canonical(match["unit"] or match["unit_low"] or "")
    low = _in_unit(match["low"], match["unit_low"] or unit, unit)
    high = _in_unit(match["high"], unit, unit)
    step = parse_quantity(match["step"], unit) if match["step"] else None
    if match["unit_step"] and canonical(match["unit_step"]) != unit:
        raise ValueError(f'"{text}" has its step in another unit; write it in {unit or "the unit of the range"}')
    usual = "firing" if dimension(unit) in _OF_THE_KILN else "melt"
    name, label = _name_and_label(match["name"])
    return Amount(
        name, low, high, label, unit, step.value if step else None, "linear", cast(SetPer, match["per"] or usual)
    )


def reads_like(text: str) -> str:
    """What a text is where it answers another question than for a title or a sentence; empty where it is neither."""
    plain = " ".join(text.split())
    if re.fullmatch(rf"{_NUMBER}(?: ?[^\d\s]\S{{0,4}})?", plain):
        return "a number"
    if plain.casefold() in _BARE_WORDS:
        return "an answer to another question"
    return "a factor" if _AMOUNT.match(plain) else ""


def _refuse_bare(text: str, such_as: str) -> None:
    """A number, or yes or no, names nothing."""
    if reads_like(text) in ("a number", "an answer to another question"):
        raise ValueError(f'"{text}" is no name; write it like {such_as}')


def _in_unit(number: str, given: str, unit: str) -> float:
    quantity = parse_quantity(number, given)
    return quantity.value if quantity.unit == unit else float(f"{quantity.in_unit(unit):.10g}")


def _listed(text: str) -> Choice | Ordered:
    per = _PER.search(text)
    head, _, tail = (text[: per.start()] if per else text).partition(":")
    sign = "<" if "<" in tail else ","
    options = tuple(option.strip() for option in tail.split(sign))
    if len(options) < 2 or not all(options):
        raise ValueError(f'"{text}" needs at least two options, like "packing: loose, firm"')
    name, label = _name_and_label(head)
    listing = Ordered if sign == "<" else Choice
    return listing(name, options, label, cast(SetPer, per[1] if per else "melt"))


def _name_and_label(words: str) -> tuple[str, str]:
    name = re.sub(r"\W+", "_", words.strip()).strip("_").lower()
    return name, "" if name == words.strip() else words.strip()


def outcome_from_phrase(phrase: str, after: str | None = None) -> Outcome:
    """Read one outcome, which exists only where the outcome `after` was good.

    Raises
    ------
    ValueError
        Where the phrase has no known form; the message says how to write it.
    """
    text = _PASS_WORDS.sub("", " ".join(phrase.split()))
    _refuse_bare(text, '"contained" or "fill: at least 95 %"')
    if _AMOUNT.match(text):
        raise ValueError(f'"{text}" reads like a factor, and an outcome is asked for; write it like "contained"')
    head, colon, tail = (part.strip() for part in text.partition(":"))
    name, question = _name_and_label(head)
    if not name:
        raise ValueError(f'"{text}" has no name; write it like "contained" or "fill: at least 95 %"')
    if not colon:
        return Outcome(name, "pass", question, after=after)
    if "|" in tail:
        good, bad = (tuple(grade.strip() for grade in part.split(",")) for part in tail.split("|", 1))
        if not all((*good, *bad)):
            raise ValueError(f'"{text}" has an empty grade; write it like "cracks: none, hairline | open, shattered"')
        return Outcome(name, "grade", question, grades=good + bad, after=after, good=good)
    with_unit = _RANGE_UNIT.search(tail)
    unit = canonical(with_unit["unit"]) if with_unit else ""
    bounds = (0.0, 100.0) if unit == "%" else None
    return Outcome(name, "measured", question, unit, (), bounds, after, parse_good_range(tail, unit))


def factor_words(phrase: str) -> str:
    """How a factor was understood, for reading back."""
    factor = factor_from_phrase(phrase)
    if isinstance(factor, Amount):
        step = "" if factor.step is None else f" in steps of {factor.step:g}"
        what = f"{factor.low:g} to {factor.show(factor.high)}{step}"
    else:
        what = (" < " if isinstance(factor, Ordered) else " or ").join(factor.options)
    return f"{factor.name}: {what}, set anew for each {factor.set_per}"


def outcome_words(phrases: Sequence[str]) -> list[str]:
    """How outcomes were understood, for reading back."""
    lines = []
    for outcome in _chain(phrases):
        if outcome.kind == "pass":
            what = "yes or no; yes is good"
        elif outcome.kind == "grade":
            good = outcome.good if isinstance(outcome.good, tuple) else ()
            what = f"{', '.join(outcome.grades)}; good: {', '.join(good)}"
        else:
            what = f"a number{f' in {outcome.unit}' if outcome.unit else ''}; good: {outcome.good}"
        lines.append(f"{outcome.name}: {what}{f'; seen where {outcome.after} was good' if outcome.after else ''}")
    return lines


def _chain(phrases: Sequence[str]) -> tuple[Outcome, ...]:
    """Each outcome comes after the one before it, or after the earlier one that it names."""
    chain: list[Outcome] = []
    for phrase in phrases:
        after = chain[-1].name if chain else None
        said = _AFTER.match(" ".join(phrase.split()))
        named = _name_and_label(said["after"])[0] if said else ""
        if said and named in {outcome.name for outcome in chain}:  # else it is a label, such as "cracks after a week"
            phrase, after = said["name"] + said["tail"], named
        chain.append(outcome_from_phrase(phrase, after))
    return tuple(chain)


def text_from_answers(answers: Answers) -> str:
    """A commented series.toml with examples of the parts not used, checked.

    Raises
    ------
    ProblemsFound
        Where an answer is not understood, or the answers do not make a valid series.
    """
    try:
        text = series_text(_series(answers), examples=True)
    except ValueError as error:
        raise ProblemsFound.single("", None, f"an answer: {error}", "answer again; nothing was written") from None
    _, problems = check_series_text(text)
    if problems:
        raise ProblemsFound(problems)
    return text


def _series(answers: Answers) -> MeltSeries:
    ceiling = parse_quantity(answers.max_temperature) if answers.max_temperature.strip() else None
    return MeltSeries(
        title=answers.title,
        factors=tuple(factor_from_phrase(phrase) for phrase in answers.factors),
        outcomes=_chain(answers.outcomes),
        goal=answers.goal,
        budget=Budget(answers.melts, answers.firings),
        kiln=Kiln(answers.melts_per_firing, ceiling),
    )
