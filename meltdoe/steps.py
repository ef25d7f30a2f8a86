"""The verbs: one short function a step. The only place where files and numbers meet.

A function that takes a folder reads what it needs from there; one that takes a series works on that.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import Inestimable, Problem, ProblemsFound, WrongUsage

if TYPE_CHECKING:
    from meltdoe.files.series_answers import Answers
    from meltdoe.fit.stage_chain import ChainFit
    from meltdoe.log.melt_log import Log
    from meltdoe.next_melt.advice import Advice, Aim
    from meltdoe.plans.comparison import PlanComparison
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.rehearsal.simulated_series import Rehearsal
    from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "advise",
    "begin_from_answers",
    "begin_from_example",
    "check_folder",
    "compare_plans",
    "draw_up_plan",
    "example_names",
    "fit_folder",
    "read_log",
    "read_plan",
    "read_series",
    "rehearse_folder",
    "write_figures",
    "write_report",
    "write_sheets",
    "write_workbook",
]


def read_series(folder: Path | str) -> MeltSeries:
    """Read and check series.toml.

    Raises
    ------
    ProblemsFound
        With every problem of the file.
    """
    from meltdoe.files.series_toml import read_series as read

    return read(folder)


def read_log(series: MeltSeries) -> Log:
    """The log of a series, edits made in a spreadsheet entered in the journal first.

    Raises
    ------
    ProblemsFound
        With every problem and every open question of log.csv.
    """
    from meltdoe.files.log_csv import read_log as read
    from meltdoe.files.log_csv import settle

    settle(series)
    return read(series)


def read_plan(series: MeltSeries) -> Plan:
    """The plan of a series; raises ProblemsFound where there is none or it does not fit the series."""
    from meltdoe.files.plan_csv import read_plan as read

    return read(series)


def plan_or_none(series: MeltSeries) -> Plan | None:
    """The plan where one was drawn up."""
    from meltdoe.files.journal import JOURNAL_NAME
    from meltdoe.files.log_csv import series_folder
    from meltdoe.files.plan_csv import PLAN_NAME

    folder = series_folder(series)
    if not (folder / PLAN_NAME).exists() and not (folder / JOURNAL_NAME).exists():
        return None
    try:
        return read_plan(series)
    except ProblemsFound:
        if (folder / PLAN_NAME).exists():
            raise
        return None


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


def write_workbook(folder: Path, file: Path) -> Path:
    """Write the log as an .xlsx workbook with drop-downs, to fill in and bring back; returns the file."""
    from meltdoe.files.log_workbook import log_workbook
    from meltdoe.files.safe_write import write_file

    series = read_series(folder)
    write_file(file, log_workbook(series, read_log(series)))
    return file


def rebuild_log(folder: Path) -> Path:
    """Write log.csv afresh from the journal; returns it."""
    from meltdoe.files.recording import rebuild

    return rebuild(read_series(folder)).path


def compare_plans(series: MeltSeries, rehearsals: int = 0, seed: int | None = None) -> PlanComparison:
    """Plans side by side, each rehearsed on `rehearsals` simulated series."""
    from meltdoe.plans.comparison import compare_plans as compare
    from meltdoe.rehearsal.simulated_series import rehearse

    def play(plan: Plan) -> dict[str, float]:
        return rehearse(series, plan=plan, count=rehearsals, seed=seed, reachable_only=True).summary()

    return compare(series, rehearse=play if rehearsals else None, seed=seed)


def draw_up_plan(
    folder: Path,
    *,
    design: str = "auto",
    melts: int | None = None,
    centre_points: int = 0,
    seed: int | None = None,
) -> tuple[Plan, Path]:
    """Draw up a plan for what is not melted yet and write plan.csv; returns the plan and the file."""
    from meltdoe.files.log_csv import series_folder
    from meltdoe.files.plan_csv import PLAN_NAME, write_plan
    from meltdoe.plans.draw_up import make_plan

    series = read_series(folder)
    log = read_log(series)
    plan = make_plan(
        series,
        design,
        melts,
        seed,
        first_melt=1 + max(log.melt_numbers, default=0),
        first_firing=1 + max((entry.firing for entry in log.entries), default=0),
        existing=log.raw if log.entries else None,
        centre_points=centre_points,
    )
    return write_plan(series, plan), series_folder(series) / PLAN_NAME


def fit_folder(folder: Path, *, seed: int | None = None, level: float = 0.90) -> ChainFit:
    """Fit every outcome of the series in a folder."""
    from meltdoe.fit.stage_chain import fit_chain

    series = read_series(folder)
    return fit_chain(series, read_log(series), seed=seed, level=level)


def advise(
    folder: Path,
    *,
    count: int | None = None,
    aim: Aim = "auto",
    most_risk: float | None = None,
    seed: int | None = None,
) -> tuple[MeltSeries, Advice]:
    """Advice on the next melt or firing of the series in a folder."""
    from meltdoe.next_melt.advice import next_melts

    chain = fit_folder(folder, seed=seed)
    return chain.series, next_melts(chain, count=count, aim=aim, most_risk=most_risk, seed=seed)


def rehearse_folder(
    folder: Path,
    *,
    policy: str = "plan",
    count: int = 60,
    seed: int | None = None,
    tell: Callable[[int], object] | None = None,
) -> Rehearsal:
    """Play whole series with the plan of a folder, or with one drawn up for it."""
    from meltdoe.rehearsal.simulated_series import rehearse

    series = read_series(folder)
    log = read_log(series)
    plan = None if log.entries else plan_or_none(series)
    return rehearse(series, log=log, plan=plan, policy=policy, count=count, seed=seed, tell=tell)


def write_sheets(folder: Path) -> Path:
    """Write the melt sheets of the plan as one HTML page to print; returns it."""
    from meltdoe.files.log_csv import series_folder
    from meltdoe.files.safe_write import write_file
    from meltdoe.sheets.melt_sheet import sheets_page

    series = read_series(folder)
    page = sheets_page(read_plan(series), read_log(series).melt_numbers)
    file = series_folder(series) / "sheets.html"
    write_file(file, page)
    return file


def write_figures(chain: ChainFit) -> tuple[Path, ...]:
    """Write every figure that the melts so far can fill, as SVG and PNG, into the folder's `figures`."""
    from meltdoe.files.log_csv import series_folder
    from meltdoe.report.figure_files import figure_files

    plan = plan_or_none(chain.series)
    return _write_all(series_folder(chain.series), figure_files(chain, plan))


def write_report(folder: Path, *, seed: int | None = None) -> Path:
    """Write the report with its figures; returns the page."""
    from meltdoe.files.log_csv import series_folder
    from meltdoe.fit.stage_chain import fit_chain
    from meltdoe.next_melt.advice import next_melts
    from meltdoe.report.html import report_files

    series = read_series(folder)
    log, plan = read_log(series), plan_or_none(series)
    chain = fit_chain(series, log, seed=seed)
    home = series_folder(series)
    try:
        advice = next_melts(chain, seed=seed)
    except Inestimable:  # nothing can be advised; the report says so
        advice = None
    _write_all(home, report_files(chain, plan, advice))
    return home / "report.html"


def _write_all(folder: Path, files: Mapping[str, bytes | str]) -> tuple[Path, ...]:
    from meltdoe.files.safe_write import write_file

    written = []
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        write_file(path, content)
        written.append(path)
    return tuple(written)
