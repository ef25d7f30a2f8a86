"""Every file of the write-up: the page, its figures, and on request the same for other documents."""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal, TypeAlias

from meltdoe.fit.checks.past_fits import PastFits
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.advice import Advice
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.audiences import AUDIENCES, Reader
from meltdoe.report.figure_files import pictures_of
from meltdoe.report.figures.page_svg import standalone_svg
from meltdoe.report.figures.style import png_bytes
from meltdoe.report.html import report_page
from meltdoe.report.page_blocks import page_blocks
from meltdoe.report.plans_compared import plans_compared
from meltdoe.report.sections import report_of

__all__ = ["Extra", "report_files"]

Extra: TypeAlias = Literal["docx", "markdown", "png", "tables"]


def report_files(
    chain: ChainFit,
    plan: Plan | None,
    advice: Advice | None,
    *,
    reader: Reader | None = None,
    extras: Collection[Extra] = (),
) -> dict[str, bytes | str]:
    """The report and its figures: relative path to content.

    Parameters
    ----------
    plan : the plan of the series, or None where none was drawn up.
    advice : what to do next, or None where nothing can be advised.
    reader : for whom the page is written; for everyone where None.
    extras : the page once more for other documents, its figures as pixels, and its tables.

    Returns
    -------
    The page first (``report.html``, or ``report-for-READER.html``), which holds everything; every figure as
    ``figures/NAME.svg``; and of the extras ``report.docx``, ``report.md``, ``figures/NAME.png`` of 300 dots per inch
    and ``tables/NN-CAPTION.csv``. The extras are made from the page itself, so no number can differ.
    """
    compared = None if plan is None else plans_compared(plan)
    past = PastFits(chain)
    pictures = pictures_of(chain, plan, None if advice is None else advice.best, advice, compared, past)
    drawn = {picture.name: standalone_svg(picture) for picture in pictures}
    in_pixels = {"docx", "png"}.intersection(extras)
    pixels = {picture.name: png_bytes(picture.figure) for picture in pictures} if in_pixels else {}
    page = report_page(report_of(chain, plan, advice, pictures, compared, past), drawn, reader)
    name = AUDIENCES[reader].file
    files: dict[str, bytes | str] = {f"{name}.html": page}
    for picture in pictures:
        files[f"figures/{picture.name}.svg"] = drawn[picture.name]
        if "png" in extras:
            files[f"figures/{picture.name}.png"] = pixels[picture.name]
    if extras:
        blocks = page_blocks(page)
        if "markdown" in extras:
            from meltdoe.report.markdown import markdown_text

            files[f"{name}.md"] = markdown_text(blocks)
        if "docx" in extras:
            from meltdoe.report.word import word_bytes

            files[f"{name}.docx"] = word_bytes(blocks, pixels)
        if "tables" in extras:
            from meltdoe.report.table_files import table_files

            files |= table_files(blocks)
    return files
