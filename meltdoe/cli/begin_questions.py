"""The few questions of `begin`: each answer is read at once, and all are read back before anything is written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from meltdoe.cli.console import ask, can_ask, warn
from meltdoe.errors import ProblemsFound, WrongUsage

if TYPE_CHECKING:
    from meltdoe.files.series.series_answers import Answers

__all__ = ["ask_for_series"]

_INTRODUCTION = (
    "A few questions; everything can be changed later in series.toml.",
    'Factors are written like "flux 15 to 40 wt% step 1", "peak 1150 to 1250 °C per firing"',
    'or "packing: loose, firm".',
    'Outcomes are written in the order of the work: "contained" (yes or no), "fill: at least 95 %",',
    '"cracks: none, hairline | open, shattered" (best first; those before the | are good). Each is looked at where the',
    'one before it was good; "cracks after poured: none | open" names another.',
)
_ANY = ("good_at_all",)  # stands in for the outcomes while the factors are asked for
_MOST_MELTS = 200  # a series of a workshop has 6 to 30; a larger number was meant for another question
_MOST_AT_ONCE = 50


def ask_for_series() -> Answers:
    """Ask everything, on standard error so that standard output stays clean; at a terminal, read back and mend.

    Raises
    ------
    WrongUsage
        Where the person does not want it written after all.
    """
    from meltdoe.files.series.series_answers import Answers

    warn(*_INTRODUCTION)
    answers = Answers("", (), ())
    for ask_again in _QUESTIONS.values():
        answers = ask_again(answers)
    while True:
        warn("", "This is what was understood:", *_read_back(answers))
        if not can_ask():
            return answers
        word = ask("Write it? (yes; a number to answer that line again; no leaves it)", "yes").lower()
        if word in ("yes", "y"):
            return answers
        if word in ("no", "n"):
            raise WrongUsage("nothing was written, as you wished")
        if word.isdigit() and 1 <= int(word) <= len(_QUESTIONS):
            answers = list(_QUESTIONS.values())[int(word) - 1](answers)
        else:
            warn(f"  Write yes, no, or a number from 1 to {len(_QUESTIONS)}.")


def _read_back(answers: Answers) -> list[str]:
    from meltdoe.files.series.series_answers import factor_words, outcome_words

    said = {
        "title": [answers.title],
        "goal": [answers.goal or "not said"],
        "factors": [factor_words(phrase) for phrase in answers.factors],
        "outcomes": outcome_words(answers.outcomes),
        "melts at most": [str(answers.melts)],
        "melts in one firing": [str(answers.melts_per_firing)],
        "ceiling of the kiln": [answers.max_temperature or "left open"],
    }
    lines = []
    for number, (name, values) in enumerate(said.items(), start=1):
        for place, value in enumerate(values):
            lines.append(f"  {f'{number}  {name}:' if place == 0 else '':<24} {value}")
    return lines


def _title(answers: Answers) -> Answers:
    return replace(answers, title=_words("Title of the series?", "My series", "title"))


def _goal(answers: Answers) -> Answers:
    return replace(answers, goal=_words("What would you call a success, in one sentence?", "", "sentence"))


def _factors(answers: Answers) -> Answers:
    outcomes = answers.outcomes or _ANY
    told = _several(
        "A factor to vary (Enter ends the list)?", lambda told: replace(answers, factors=told, outcomes=outcomes)
    )
    return replace(answers, factors=told)


def _outcomes(answers: Answers) -> Answers:
    told = _several("An outcome to look at (Enter ends the list)?", lambda told: replace(answers, outcomes=told))
    return replace(answers, outcomes=told)


def _melts(answers: Answers) -> Answers:
    question = "How many melts can you afford at most, those already made included?"
    return replace(answers, melts=_whole(question, "12", _MOST_MELTS))


def _at_once(answers: Answers) -> Answers:
    return replace(answers, melts_per_firing=_whole("How many melts does one firing hold?", "1", _MOST_AT_ONCE))


def _ceiling(answers: Answers) -> Answers:
    while True:
        text = ask('Ceiling of the kiln, with its unit (such as "1280 °C"; Enter leaves it open)?', "")
        told = replace(answers, max_temperature=text)
        if _understood(told):
            return told


_QUESTIONS: dict[str, Callable[[Answers], Answers]] = {
    "title": _title, "goal": _goal, "factors": _factors, "outcomes": _outcomes, "melts": _melts, "at once": _at_once,
    "ceiling": _ceiling,
}  # fmt: skip


def _understood(answers: Answers) -> bool:
    """Whether the answers so far make a series; says what is wrong with the last one where they do not."""
    from meltdoe.files.series.series_answers import text_from_answers

    try:
        text_from_answers(replace(answers, title=answers.title or "My series"))
    except ProblemsFound as found:
        for problem in found.problems:
            what = problem.what.removeprefix("an answer: ")
            warn(f"  {what}; {problem.mend}" if what == problem.what else f"  {what}")
        return False
    return True


def _words(question: str, default: str, kind: str) -> str:
    """A text; one that belongs to another question is asked for again."""
    from meltdoe.files.series.series_answers import reads_like

    while True:
        answer = ask(question, default)
        other = reads_like(answer)
        if not other:
            return answer
        warn(f'  "{answer}" reads like {other}, not like a {kind}; that is asked for elsewhere.')


def _whole(question: str, default: str, most: int) -> int:
    while True:
        answer = ask(question, default)
        if answer.isdigit() and 1 <= int(answer) <= most:
            return int(answer)
        warn(f"  Write a whole number from 1 to {most}.")


def _several(question: str, so_far: Callable[[tuple[str, ...]], Answers]) -> tuple[str, ...]:
    phrases: tuple[str, ...] = ()
    while True:
        phrase = ask(question, "")
        if phrase and _understood(so_far((*phrases, phrase))):
            phrases = (*phrases, phrase)
        elif not phrase and phrases:
            return phrases
        elif not phrase:
            warn("  At least one is needed.")
