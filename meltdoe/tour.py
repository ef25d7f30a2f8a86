"""The tour: a copy of an example is taken through the whole job, step by step, saying what happens."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from meltdoe.errors import ProblemsFound

__all__ = ["walk"]


def walk(folder: Path, example: str, say: Callable[[str], object]) -> Path:
    """Copy `example` into `folder`, check, fit, advise, print sheets and write the report; returns the report.

    Raises
    ------
    ProblemsFound
        Where the folder already holds something.
    """
    from meltdoe.next_melt.advice import next_melts
    from meltdoe.report.advice_sentences import why_this_melt, why_verdict
    from meltdoe.report.plain_words import plain_counts
    from meltdoe.report.sentences import best_sentence
    from meltdoe.steps import example_folder, fit_folder, plan_or_none, write_report, write_sheets

    source = example_folder(example)
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        what = "is not empty" if folder.is_dir() else "is not a folder"
        raise ProblemsFound.single(str(folder), None, what, "name a new folder: meltdoe tour FOLDER")
    shutil.copytree(source, folder, dirs_exist_ok=True)
    say(f"Copied the invented example {example} to {folder}.")

    chain = fit_folder(folder)
    series, log = chain.series, chain.log
    say(f"Series: {series.title}. {len(series.factors)} factors, {len(series.outcomes)} outcomes in a chain.")
    plan = plan_or_none(series)
    say(f"Plan: {plan.reason}" if plan else "Plan: none; the melts were made before one was drawn up.")
    good = sum(log.succeeded(entry) is True for entry in log.entries)
    say(f"Log: {len(log.entries)} melts on record, {good} of them good throughout.")
    for count in plain_counts(chain):
        say(f"  {count}")
    advice = next_melts(chain)
    say(best_sentence(chain, advice.best))
    say(f"{advice.verdict.word.capitalize()}: {why_verdict(series, advice)}")
    for melt in advice.melts:
        say(f"Next, firing {melt.firing}: {series.show(melt.settings)}. {why_this_melt(series, advice, melt)}")
    if plan:
        say(f"Melt sheets to print: {write_sheets(folder)}")
    return write_report(folder)
