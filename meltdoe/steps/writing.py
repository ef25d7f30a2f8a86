"""Figures and the report."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import Inestimable
from meltdoe.steps.reading import plan_or_none, read_log, read_series

if TYPE_CHECKING:
    from meltdoe.fit.stage_chain import ChainFit

__all__ = [
    "write_figures",
    "write_report",
]


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
