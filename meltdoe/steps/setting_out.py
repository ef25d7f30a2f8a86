"""A folder begun, checked and mended."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import Problem, ProblemsFound, WrongUsage
from meltdoe.steps.reading import plan_or_none, read_series

if TYPE_CHECKING:
    from meltdoe.files.series_answers import Answers

__all__ = [
    "begin_from_answers",
    "begin_from_example",
    "check_folder",
    "example_folder",
    "example_names",
    "rebuild_log",
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
    from meltdoe.files.series_answers import text_from_answers

    return _begin(folder, text_from_answers(answers))


def _begin(folder: Path, text: str) -> Path:
    from meltdoe.files.safe_write import write_file
    from meltdoe.files.series_toml import series_path

    file = series_path(folder)
    if file.exists():
        raise ProblemsFound.single(file.name, None, "is already there", "take another folder, or edit the file")
    folder.mkdir(parents=True, exist_ok=True)
    write_file(file, text)
    return file


def check_folder(folder: Path) -> tuple[Problem, ...]:
    """Every problem of series, plan, log and folder, in that order; nothing is written."""
    from meltdoe.files.conflict_copies import conflict_copies
    from meltdoe.files.log_csv import check_log
    from meltdoe.files.series_toml import check_series

    series, problems = check_series(folder)
    if series is None:
        return problems
    found = list(problems)
    try:
        plan_or_none(series)
    except ProblemsFound as faults:
        found += faults.problems
    found += [*check_log(series)[1], *conflict_copies(Path(folder))]
    return tuple(dict.fromkeys(found))  # a broken journal is found twice


def rebuild_log(folder: Path) -> Path:
    """Write log.csv afresh from the journal; returns it."""
    from meltdoe.files.recording import rebuild

    return rebuild(read_series(folder)).path
