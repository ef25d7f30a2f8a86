"""The report as one HTML page that opens anywhere: styles and pictures inside it, no script, no request to anywhere.

Templates live in ``wording/``. Everything that is put into them is escaped and freed of control characters; the only
markup let through is that of the figures, whose text the SVG writer has escaped.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from meltdoe.fit.stage_chain import ChainFit
from meltdoe.next_melt.advice import Advice
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.figure_files import pictures_of
from meltdoe.report.figures.page_svg import inline_svg, standalone_svg
from meltdoe.report.figures.style import Picture, png_bytes
from meltdoe.report.plain_text import one_line, plain
from meltdoe.report.sections import Report, report_of

__all__ = ["report_files", "report_page"]

_SHORT, _SHORT_NUMBER = 9, 26  # letters of a cell that is kept on one line
_NEEDS_ROOM = 12  # letters from which words are not stacked one on another
_LONG, _LONGEST, _LONG_WORD = (
    40,
    250,
    22,
)  # letters of a cell that needs room, much room, of a word that has to be broken
_PLANNED = "(planned"  # may stand below the setting that was used
_APART = re.compile(r"(\d) (?=%|°|points\b|melts?\b|firings?\b)")
_DATE = re.compile(r"\d{4}-\d\d-\d\d")


def report_files(chain: ChainFit, plan: Plan | None, advice: Advice | None) -> dict[str, bytes | str]:
    """The report and its figures: relative path to content.

    Parameters
    ----------
    plan : the plan of the series, or None where none was drawn up.
    advice : what to do next, or None where nothing can be advised.

    Returns
    -------
    ``report.html``, which holds everything, and every figure as ``figures/NAME.svg`` and ``figures/NAME.png``.
    """
    pictures = pictures_of(chain, plan, None if advice is None else advice.best)
    drawn = {picture.name: standalone_svg(picture) for picture in pictures}
    files: dict[str, bytes | str] = {"report.html": report_page(report_of(chain, plan, advice, pictures), drawn)}
    for picture in pictures:
        files[f"figures/{picture.name}.svg"] = drawn[picture.name]
        files[f"figures/{picture.name}.png"] = png_bytes(picture.figure)
    return files


def report_page(report: Report, drawn: Mapping[str, str]) -> str:
    """The page of a report; the same report gives the same text.

    Parameters
    ----------
    drawn : SVG text by name of the picture, as `standalone_svg` gives it.
    """
    environment = Environment(
        loader=PackageLoader("meltdoe.report", "wording"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_clean,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )

    def svg(picture: Picture) -> Markup:
        return Markup(inline_svg(drawn[picture.name]))  # of our own writer, which has escaped all text in it

    environment.filters.update(svg=svg, one_line=one_line, percent=_percent, together=_together, width=_width)
    return environment.get_template("report.html.j2").render(report=report, series=report.series, number=_Numbers())


class _Numbers:
    """Running numbers of figures and tables, in the order in which the page asks for them."""

    def __init__(self) -> None:
        self._count: Counter[str] = Counter()

    def __call__(self, kind: str) -> int:
        self._count[kind] += 1
        return self._count[kind]


def _clean(value: Any) -> Any:
    """What every expression of a template goes through; markup of our own passes as it is."""
    return plain(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _width(cell: str, align: str) -> str:
    """How a cell of a table may be broken, as further classes of the style sheet."""
    if _DATE.fullmatch(cell):
        return " date"
    if _PLANNED in cell:
        return " middle"
    if len(cell) <= (_SHORT_NUMBER if align == "number" else _SHORT):
        return " short"
    if len(cell) <= _NEEDS_ROOM:
        return ""
    longest = max(map(len, cell.split()), default=0)
    if len(cell) > _LONGEST:
        return " longest"
    return (" long" if len(cell) > _LONG else " middle") + (" breaks" if longest > _LONG_WORD else "")


def _together(text: str) -> str:
    """Numbers and their signs kept on one line."""
    return _APART.sub("\\1\u00a0", text)


def _percent(share: float) -> str:
    return f"{100 * share:g} %"
