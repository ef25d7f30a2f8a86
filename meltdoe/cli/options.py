"""Arguments and options that several commands share."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from meltdoe.cli.console import remember_folder
from meltdoe.errors import WrongUsage

__all__ = ["HERE", "Aliases", "AsJson", "ChancesShown", "EffectShown", "Folder", "Seed", "two_chances"]

HERE = Path()

Folder: TypeAlias = Annotated[
    Path,
    typer.Argument(
        metavar="SERIES-FOLDER",
        help="Folder of the series; by default this one.",
        show_default=False,
        callback=remember_folder,
    ),
]
AsJson: TypeAlias = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Seed: TypeAlias = Annotated[
    int | None,
    typer.Option(metavar="NUMBER", min=0, help="Number that fixes what is left to chance; by default the series' own."),
]
EffectShown: TypeAlias = Annotated[
    float,
    typer.Option(
        "--effect",
        metavar="NUMBER",
        min=0.01,
        help="Change of a measurement that you care about, as times the scatter of equal melts.",
    ),
]
ChancesShown: TypeAlias = Annotated[
    str,
    typer.Option(
        "--chance", metavar="'FROM to TO'", help='Change of a pass chance that you care about, such as "0.5 to 0.9".'
    ),
]
Aliases: TypeAlias = Annotated[
    bool, typer.Option("--aliases", help="Name every effect that is mixed up with others, however long the list.")
]


def two_chances(text: str) -> tuple[float, float]:
    """Two chances from "0.2 to 0.8" or "20 to 80 %"."""
    found = re.fullmatch(r"\s*([\d.]+)\s*%?\s*(?:to|-|,)\s*([\d.]+)\s*(%?)\s*", text)
    if found:
        try:
            low, high = (float(part) / (100.0 if found[3] else 1.0) for part in found.group(1, 2))
        except ValueError:
            low = high = 0.0
        if 0.0 < low < 1.0 and 0.0 < high < 1.0 and low != high:
            return low, high
    raise WrongUsage(f'"{text}" is no change of a chance; write for example "0.5 to 0.9"')
