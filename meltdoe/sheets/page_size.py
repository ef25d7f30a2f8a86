"""The type of each printed page: what stands on it, line by line, as ``wording/sheets.html.j2`` sets it."""

from __future__ import annotations

from collections.abc import Sequence

from meltdoe.glass.cautions import Caution
from meltdoe.series.melt_series import MeltSeries
from meltdoe.sheets.firing_sheet import FiringSheet
from meltdoe.sheets.sheet_lines import MeltSheet
from meltdoe.sheets.type_size import Boxes, Lines, Ruled, fitting_size

__all__ = ["cautions_size", "firing_size", "melt_size"]

_NOTES, _DRAWING = 52.0, 180.0  # px: the box for notes, and the picture of the schedule
_LARGEST_SCHEDULE = 17  # px: its six columns need the width
_SMALLEST_CAUTIONS, _LOST = 13, 60.0  # px: below it two pages are better, of which the first is not filled to the end
_HEAD = (Lines("title", 1.9, 0.3), Lines("date", 1.2, 0.6))
_HALF = (0.44, 0.24, 0.32)


def _heading(text: str) -> Lines:
    return Lines(text, 1.1, 0.85)


def melt_size(sheet: MeltSheet, with_page: bool) -> int:
    """Pixels of the type of one melt's page; `with_page` where its firing has a page of its own."""
    settings = [line for line in sheet.settings if not (line.shared and with_page)]
    rows = [["What", "Planned", "As it was"], *([line.title, line.planned, ""] for line in settings)]
    rows += [[name, "write down", ""] for name in sheet.circumstances]
    blocks: list[Boxes | Lines | Ruled] = [*_HEAD, Lines(sheet.about(with_page)), _heading("Set"), Ruled(rows, _HALF)]
    glass = sheet.glass
    if glass is not None and glass.weights is not None:
        weighed = [[line.material, "Weigh", ""] for line in glass.weights.lines]
        blocks += [_heading("Weigh"), Ruled([["Material", "", "Really weighed"], *weighed], (0.34, 0.42, 0.24), 1.26)]
    if glass is not None:
        blocks += [Lines(text) for text in (glass.charging, *glass.warnings) if text]
        blocks += [Lines(text, 0.88) for text in (glass.told, *glass.caveats) if text]
        if glass.cooling:
            steps = [f"{how}\n{hours}" for how, hours in glass.cooling]
            blocks += [_heading("Cool"), Ruled([steps], [1.0 / len(steps)] * len(steps), 1.0)]
    blocks += [_heading("Look"), *(Boxes(box.title, box.small, box.words) for box in sheet.outcomes)]
    blocks += [_heading("Otherwise"), Lines(f"Beware of: {sheet.beware}", 0.88)]
    return fitting_size(blocks, _NOTES)


def firing_size(firing: FiringSheet) -> int:
    """Pixels of the type of one firing's page."""
    blocks: list[Boxes | Lines | Ruled] = [*_HEAD]
    if firing.settings:
        rows = [["What", "Planned", "As it was"], *([name, planned, unit] for name, planned, unit in firing.settings)]
        blocks += [_heading("The whole firing"), Ruled(rows, _HALF)]
    steps = [[line.what, line.watch] for line in firing.lines]
    blocks += [_heading("Schedule"), Ruled([["What", "Look for"], *steps], (0.47, 0.53), 1.0, 20.5)]
    blocks += [Lines(" ".join(firing.notes), 0.88), *map(Lines, firing.warnings)]
    blocks += [_heading("Readings"), Ruled([["Clock"]] * 4, (1.0,)), Lines("", 0.0, 1.0), _heading("Otherwise")]
    size = fitting_size(blocks, _NOTES + (_DRAWING if firing.drawing else 0.0))
    return min(size, _LARGEST_SCHEDULE)


def cautions_size(series: MeltSeries, cautions: Sequence[Caution]) -> int:
    """Pixels of the type of the last page, which may run on to a second one."""
    blocks: list[Boxes | Lines | Ruled] = [
        _HEAD[0],
        *(Lines(f"Always keep {limit.keep}: {limit.why}.") for limit in series.limits),
    ]
    for caution in cautions:
        limit = f"Limit: {caution.limit_value} {caution.authority} {caution.how_obtained}"
        shown = limit if caution.limit_value != "-" else ""
        blocks.append(Lines(f"{caution.short}: {caution.hazard}. {caution.what_to_do}. {shown}", 1.02, 0.2))
    size = fitting_size(blocks, 0.0)
    return size if size >= _SMALLEST_CAUTIONS else fitting_size(blocks, _LOST, pages=2)
