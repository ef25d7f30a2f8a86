"""`report`: the write-up."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from meltdoe.cli.console import print_json, say
from meltdoe.cli.options import HERE, AsJson, Folder, Seed


class For(StrEnum):
    """Readers with a page of their own."""

    MAKER = "maker"
    GALLERY = "gallery"
    JOURNAL = "journal"
    COURSE = "course"


class With(StrEnum):
    """What can be written beside the page."""

    DOCX = "docx"
    MARKDOWN = "markdown"
    PNG = "png"
    TABLES = "tables"


def report(
    folder: Folder = HERE,
    reader: Annotated[
        For | None,
        typer.Option(
            "--for",
            metavar="maker|gallery|journal|course",
            help="A page for one kind of reader: same numbers, own order and words.",
        ),
    ] = None,
    extras: Annotated[
        list[With] | None,
        typer.Option(
            "--with",
            metavar="docx|markdown|png|tables",
            help="For other documents too: DOCX, Markdown, figures as PNG of 300 dpi, tables as CSV; may be repeated.",
        ),
    ] = None,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Write the report as one HTML page, its figures also as SVG files.

    Example: meltdoe report obsidian-block --for gallery --with docx --with tables
    """
    from meltdoe.steps import write_report_files

    file, *others = write_report_files(
        folder,
        seed=seed,
        reader=None if reader is None else reader.value,
        extras=tuple(dict.fromkeys(extra.value for extra in extras or ())),
    )
    if json:
        print_json({"file": file, "others": others})
        return
    say(f"Written: {file}")
    beside = [str(path) for path in others if path.parent == file.parent]
    folders = sorted({str(path.parent) for path in others if path.parent != file.parent})
    if beside or folders:
        say(f"Beside it: {', '.join([*beside, *folders])}")
