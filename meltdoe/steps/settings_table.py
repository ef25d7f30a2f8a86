"""A table of settings from anywhere, read as a plan to be judged, with everything that a plan may not ask for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import Problem, ProblemsFound

if TYPE_CHECKING:
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.series.melt_series import MeltSeries

__all__ = ["read_settings"]


def read_settings(series: MeltSeries, file: Path) -> tuple[Plan, tuple[Problem, ...]]:
    """The rows of a CSV file as a plan; only the columns of the factors are needed.

    Columns ``melt`` and ``firing`` are used where they are there: melts are counted from 1 otherwise, and each is taken
    as a firing of its own. Other columns are passed over.

    Returns
    -------
    The plan, and for every row what no plan may ask for: a setting outside its range, a limit that is broken, more
    melts in a firing than the kiln holds. Such a plan can be judged, but must not be melted.

    Raises
    ------
    ProblemsFound
        With every factor that has no column and every cell that cannot be read.
    """
    from meltdoe.files.store.plan_problems import check_plan
    from meltdoe.files.tables.csv_table import parse_table, read_bytes
    from meltdoe.log.cell_words import read_setting
    from meltdoe.log.entry import Where
    from meltdoe.log.numbers import CellFault, read_whole
    from meltdoe.plans.melt_plan import Plan, PlannedMelt
    from meltdoe.series.factor import Amount, Setting

    table = parse_table(read_bytes(file), file.name, series.factor_names)
    heading = {title.strip().casefold().replace(" ", "_"): title for title in table.headings}
    wanted = [*series.factor_names, "melt", "firing"]
    column = {name: table.headings.index(heading[name.casefold()]) for name in wanted if name.casefold() in heading}
    problems = [
        Problem(file.name, table.heading_line, f'the column "{name}" is missing', "add it to the first line")
        for name in series.factor_names
        if name not in column
    ]
    if problems:
        raise ProblemsFound(problems)
    amounts = [factor.name for factor in series.factors if isinstance(factor, Amount)]
    decimal = table.decimal([row.cells[column[name]] for row in table.rows for name in amounts])
    melts: list[tuple[PlannedMelt, Where]] = []
    for place, row in enumerate(table.rows, start=1):
        settings: dict[str, Setting] = {}
        numbers = {"melt": place, "firing": place}
        for name in column:
            cell = row.cells[column[name]]
            try:
                if name in numbers:
                    numbers[name] = read_whole(cell, decimal)
                else:
                    settings[name] = read_setting(series.factor(name), cell, decimal)
            except CellFault as fault:
                problems.append(Problem(file.name, row.line, fault.under(name).what, fault.mend))
        melts.append((PlannedMelt(numbers["melt"], numbers["firing"], place, settings, ""), Where(file.name, row.line)))
    if not melts:
        problems.append(Problem(file.name, None, "holds no melt", "write one row for each melt"))
    if problems:
        raise ProblemsFound(problems)
    impossible = sorted(check_plan(series, melts), key=lambda problem: problem.line or 0)
    read = tuple(melt for melt, _ in melts)
    return Plan(series, read, "by hand", f"{len(melts)} melts read from {file.name}", series.seed), tuple(impossible)
