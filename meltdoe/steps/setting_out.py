"""A folder begun, checked and mended."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import Problem, ProblemsFound, WrongUsage
from meltdoe.steps.glass import glass_problems
from meltdoe.steps.reading import plan_or_none, read_series

if TYPE_CHECKING:
    from meltdoe.files.series.series_answers import Answers

__all__ = [
    "assumed",
    "begin_from_answers",
    "begin_from_example",
    "check_folder",
    "example_folder",
    "example_names",
    "not_checked",
    "rebuild_log",
    "refuse_begun",
    "remarks_on_log",
    "waiting_edits",
]


def example_names() -> tuple[str, ...]:
    """The shipped examples."""
    from meltdoe.shipped import shipped_folder

    return tuple(sorted(path.name for path in shipped_folder("examples").iterdir() if (path / "series.toml").exists()))


def example_folder(example: str) -> Path:
    """Where a shipped example lies.

    Raises
    ------
    WrongUsage
        Where there is none of that name.
    """
    from meltdoe.shipped import shipped_folder

    if example not in example_names():
        raise WrongUsage(f'there is no example "{example}"; the examples are {", ".join(example_names())}')
    return shipped_folder("examples") / example


def begin_from_example(folder: Path, example: str) -> Path:
    """Copy the series.toml of an example into a folder that has none; returns the new file."""
    return _begin(folder, (example_folder(example) / "series.toml").read_text(encoding="utf-8"))


def begin_from_answers(folder: Path, answers: Answers) -> Path:
    """Write a commented series.toml from the answers to a few questions; returns the new file."""
    from meltdoe.files.series.series_answers import text_from_answers

    return _begin(folder, text_from_answers(answers))


def refuse_begun(folder: Path) -> Path:
    """Where series.toml of a new series will lie.

    Raises
    ------
    ProblemsFound
        Where a series was begun there already, or there can be no folder.
    """
    from meltdoe.files.series.series_toml import series_path

    file = series_path(folder)
    if file.exists():
        mend = "name another folder, or edit that file"
        raise ProblemsFound.single(str(file), None, "is already there", mend)
    if folder.exists() and not folder.is_dir():
        raise ProblemsFound.single(str(folder), None, "is no folder", "name a folder for the series")
    return file


def _begin(folder: Path, text: str) -> Path:
    from meltdoe.files.disk.safe_write import make_folder, write_file

    file = refuse_begun(folder)
    make_folder(folder)
    write_file(file, text)
    return file


def check_folder(folder: Path) -> tuple[Problem, ...]:
    """Every problem of folder, series, plan and log, in that order; nothing is written.

    Second copies of the files come first, since they tell where the other problems may come from.
    """
    from meltdoe.files.disk.conflict_copies import conflict_copies
    from meltdoe.files.series.series_toml import check_series, series_path
    from meltdoe.files.store.log_csv import check_log

    series, problems = check_series(folder)
    home = series_path(folder).parent
    found = [*conflict_copies(home), *problems]
    if series is None:
        return (*found, *(_journal_problems(home) if home.is_dir() else ()))
    plan = None
    try:
        plan = plan_or_none(series)
    except ProblemsFound as faults:
        found += faults.problems
    log, log_problems = check_log(series)
    found += [*log_problems, *glass_problems(series, log, plan)]
    return tuple(dict.fromkeys(found))  # a broken journal is found twice


def not_checked(folder: Path, problems: Collection[Problem]) -> tuple[str, ...]:
    """Files of a folder that `check_folder` could not judge, since series.toml has problems of its own."""
    from meltdoe.files.series.series_keys import SERIES_FILE
    from meltdoe.files.series.series_toml import series_path
    from meltdoe.files.store.log_csv import LOG_NAME
    from meltdoe.files.store.plan_csv import PLAN_NAME

    if not any(problem.file == SERIES_FILE for problem in problems):
        return ()
    return tuple(name for name in (PLAN_NAME, LOG_NAME) if (series_path(folder).parent / name).exists())


def _journal_problems(folder: Path) -> tuple[Problem, ...]:
    """What can be said of the journal without knowing the series."""
    from meltdoe.files.store.journal import JOURNAL_NAME, read_journal

    try:
        read_journal(folder / JOURNAL_NAME)
    except ProblemsFound as found:
        return found.problems
    return ()


def waiting_edits(folder: Path) -> tuple[str, ...]:
    """What the next command that reads the log will enter or mend by itself; nothing where there are problems."""
    from meltdoe.files.store.settling import pending

    try:
        return pending(read_series(folder))
    except ProblemsFound:
        return ()


def remarks_on_log(folder: Path) -> tuple[str, ...]:
    """What is worth a second look in the log though it may be right; nothing where there are problems."""
    import datetime

    from meltdoe.files.store.log_csv import check_log
    from meltdoe.log.remarks import log_remarks

    try:
        series = read_series(folder)
    except ProblemsFound:
        return ()
    log, _ = check_log(series)
    return () if log is None else log_remarks(series, log.entries, datetime.date.today())


def assumed(folder: Path) -> tuple[str, ...]:
    """What series.toml leaves open and the program takes for granted; nothing where there are problems."""
    from meltdoe.charge.assumed_forms import assumed_forms

    try:
        return assumed_forms(read_series(folder))
    except ProblemsFound:
        return ()


def rebuild_log(folder: Path) -> tuple[str, ...]:
    """Write log.csv, and plan.csv where it cannot be read, afresh from the journal; returns what was done."""
    from meltdoe.files.store.recording import rebuild

    return rebuild(read_series(folder)).lines
