"""A few steps of work in a series folder, each acknowledged only when it is done, and what must be there afterwards.

The tests of kills and failing disks take them, and so does tests/benchmarks/store_study.py.
"""

from bench_series import SPILLED, bench_plan, bench_series, settings

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.plan_csv import write_plan
from meltdoe.files.store.recording import rebuild, record_melt
from meltdoe.files.store.settling import settle


def record(series, value):
    """A new melt, which carries a number that only grows."""
    said = {"settings": settings(), "seen": SPILLED, "circumstances": {"humidity": value}}
    return record_melt(series, note="x" * 200, **said).melt


def correct(series, melt, value):
    record_melt(series, melt, circumstances={"humidity": value}, correct=True, reason="by chance")


def edit(series, melt, value):
    """What an editor does: the file is overwritten in place, then a command enters what it finds."""
    settle(series)
    path = series.folder / "log.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    column = lines[0].split(",").index("humidity")
    for i, line in enumerate(lines):
        cells = line.split(",")
        if cells[0] == str(melt):
            cells[column] = str(value)
            lines[i] = ",".join(cells)
    path.write_text("".join(lines), encoding="utf-8")
    settle(series)


def replan(series, value):
    """A plan for the next two melts that are not made yet."""
    first = 1 + max(read_log(series).melt_numbers, default=0)
    write_plan(series, bench_plan(series, 2, first, 1 + value % 1000))


def opened(series):
    """The log, and whether one command was needed to open the folder."""
    try:
        return read_log(series), False
    except ProblemsFound:
        rebuild(series)
        return read_log(series), True


def missing(log, acknowledged):
    """Acknowledged melts that are not there, or that hold an older number than was acknowledged."""
    there = {entry.melt: entry.circumstances["humidity"] for entry in log.entries}
    return {melt: value for melt, value in acknowledged.items() if there.get(melt, -1) < value}


def at(folder):
    return bench_series(folder)
