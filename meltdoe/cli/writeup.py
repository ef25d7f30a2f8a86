"""`report`: the write-up."""

from __future__ import annotations

from meltdoe.cli.console import print_json, say
from meltdoe.cli.options import HERE, AsJson, Folder, Seed


def report(folder: Folder = HERE, seed: Seed = None, json: AsJson = False) -> None:
    """Write the report as one HTML page, its figures also as SVG and PNG files.

    Example: meltdoe report obsidian-block
    """
    from meltdoe.steps import write_report

    file = write_report(folder, seed=seed)
    if json:
        print_json({"file": file})
    else:
        say(f"Written: {file}")
