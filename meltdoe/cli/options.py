"""Arguments and options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from meltdoe.cli.console import remember_folder

__all__ = ["HERE", "AsJson", "Folder", "Seed"]

HERE = Path()

Folder: TypeAlias = Annotated[
    Path,
    typer.Argument(
        metavar="SERIES-FOLDER", help="Folder of the series; by default this one.", callback=remember_folder
    ),
]
AsJson: TypeAlias = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Seed: TypeAlias = Annotated[
    int | None, typer.Option(min=0, help="Number that fixes what is left to chance; by default the series' own.")
]
