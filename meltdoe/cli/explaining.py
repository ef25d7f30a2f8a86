"""`explain`: what the words and figures mean, a page a topic."""

from __future__ import annotations

from typing import Annotated

import typer

from meltdoe.cli.console import print_json, say, table
from meltdoe.cli.options import AsJson


def explain(
    topic: Annotated[str | None, typer.Argument(metavar="TOPIC", help="What to explain; left out, a list.")] = None,
    json: AsJson = False,
) -> None:
    """Explain a topic in a page of plain words, with its sources; without a topic, list them.

    Example: meltdoe explain firing
    """
    from meltdoe.explain import page, title, topics

    if topic is not None:
        text = page(topic)
        if json:
            print_json({"topic": topic, "title": title(topic), "text": text})
        else:
            say(text.rstrip())
        return
    listed = [(name, title(name)) for name in topics()]
    if json:
        print_json({"topics": [{"topic": name, "title": heading} for name, heading in listed]})
    else:
        say(*table(["topic", "what it answers"], listed), "", "Read one with: meltdoe explain TOPIC")
