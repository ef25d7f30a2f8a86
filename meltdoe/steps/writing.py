"""Figures and the report."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import Inestimable
from meltdoe.steps.reading import plan_or_none, read_log, read_series

if TYPE_CHECKING:
    from meltdoe.fit.stages.stage_chain import ChainFit
    from meltdoe.report.audiences import Reader
    from meltdoe.report.report_files import Extra

__all__ = [
    "write_figures",
    "write_report",
    "write_report_files",
]


def write_figures(chain: ChainFit) -> tuple[Path, ...]:
    """Write every figure that the melts so far can fill into the folder's `figures`, as `write_report` does."""
    from meltdoe.files.store.log_csv import series_folder
    from meltdoe.report.figure_files import figure_files

    folder, plan = series_folder(chain.series), plan_or_none(chain.series)
    return _write_all(folder, figure_files(chain, plan, pixels=_holds_pixels(folder)))


def write_report(
    folder: Path, *, seed: int | None = None, reader: Reader | None = None, extras: Collection[Extra] = ()
) -> Path:
    """Write the report with its figures; returns the page.

    Parameters
    ----------
    reader : for whom it is written ("maker", "gallery", "journal", "course"); for everyone where None.
    extras : what to write beside it for other documents: "docx", "markdown", "tables", or "png" for the figures as
        pixels; where they lie there already they are renewed, so that none is of an earlier state.
    """
    return write_report_files(folder, seed=seed, reader=reader, extras=extras)[0]


def write_report_files(
    folder: Path, *, seed: int | None = None, reader: Reader | None = None, extras: Collection[Extra] = ()
) -> tuple[Path, ...]:
    """As `write_report`; returns every file written, the page first."""
    from meltdoe.files.store.log_csv import series_folder
    from meltdoe.fit.stages.stage_chain import fit_chain
    from meltdoe.next_melt.advice import next_melts
    from meltdoe.report.report_files import report_files

    series = read_series(folder)
    log, plan = read_log(series), plan_or_none(series)
    chain = fit_chain(series, log, seed=seed)
    try:
        advice = next_melts(chain, seed=seed, planned=plan.melts if plan else ())
    except Inestimable:  # nothing can be advised; the report says so
        advice = None
    there = series_folder(series)
    if _holds_pixels(there):
        extras = (*extras, "png")
    return _write_all(there, report_files(chain, plan, advice, reader=reader, extras=extras))


def _holds_pixels(folder: Path) -> bool:
    return any((folder / "figures").glob("*.png"))


def _write_all(folder: Path, files: Mapping[str, bytes | str]) -> tuple[Path, ...]:
    from meltdoe.files.disk.safe_write import make_folder, write_file

    written = []
    for name, content in files.items():
        path = folder / name
        make_folder(path.parent)
        write_file(path, content)
        written.append(path)
    return tuple(written)
