"""The report as one HTML page that opens anywhere: styles, scripts and pictures inside it, no request to anywhere.

Templates live in ``wording/``. Everything that is put into them is escaped and freed of control characters; the only
markup let through is that of the figures, whose text the SVG writer has escaped. The page runs its own two scripts and
no others: its content security policy names them by their fingerprints. They sort and copy tables and work the panel of
`meltdoe.report.what_if`; without them everything else can still be read.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files as files_of
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from meltdoe.report.audiences import AUDIENCES, Reader
from meltdoe.report.figures.page_svg import inline_svg
from meltdoe.report.figures.style import Picture
from meltdoe.report.plain_text import one_line, plain
from meltdoe.report.sections import Report

__all__ = ["report_page"]

_SHORT, _SHORT_NUMBER = 9, 26  # letters of a cell that is kept on one line
_NEEDS_ROOM = 12  # letters from which words are not stacked one on another
_LONG, _LONGEST, _LONG_WORD = (
    40,
    250,
    22,
)  # letters of a cell that needs room, much room, of a word that has to be broken
_PLANNED = "(planned"  # may stand below the setting that was used
_APART = re.compile(r"(?<=\d) (?=%|°|points\b|melts?\b|firings?\b)|(?<=[<→]) (?=\d)")
_DATE = re.compile(r"\d{4}-\d\d-\d\d")


@dataclass(frozen=True, slots=True)
class _Script:
    """A script of our own: its text, and its fingerprint for the content security policy."""

    text: Markup
    hash: str


def report_page(report: Report, drawn: Mapping[str, str], reader: Reader | None = None) -> str:
    """The page of a report; the same report gives the same text.

    Parameters
    ----------
    drawn : SVG text by name of the picture, as `standalone_svg` gives it.
    reader : for whom it is written; for everyone where None.
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

    environment.filters.update(
        svg=svg, one_line=one_line, percent=_percent, together=_together, width=_width, json=_json
    )
    audience = AUDIENCES[reader]
    turned = report.what_if is not None and any(section.id == "try" for section in audience.sections)
    return environment.get_template("report.html.j2").render(
        report=report,
        series=report.series,
        audience=audience,
        reader=reader,
        scripts=[_script(name) for name in ("tables.js", *(["what_if.js"] if turned else []))],
        number=_Numbers(),
    )


def _script(name: str) -> _Script:
    text = files_of("meltdoe.report").joinpath("wording", name).read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
    return _Script(Markup(text), f"sha256-{digest}")


def _json(value: Any) -> Markup:
    """A value as JSON that cannot end the element it stands in, nor be taken for markup."""
    text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


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
    return _APART.sub("\u00a0", text)


def _percent(share: float) -> str:
    return f"{100 * share:g} %"
