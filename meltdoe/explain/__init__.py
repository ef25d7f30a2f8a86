"""Explanations: one page a topic, in plain words, for people; each is a text file in `topics`.

The first line of a page is its title; its last paragraph names the sources.
"""

from __future__ import annotations

from difflib import get_close_matches
from importlib.resources import files

from meltdoe.errors import WrongUsage

__all__ = ["page", "title", "topics"]

# in the order of the work
_ORDER = (
    "plans", "figures", "firing", "together", "circumstances", "changes", "glass", "beliefs", "truth", "unseen",
    "chance", "matters", "split", "next", "stop", "report",
)  # fmt: skip


def topics() -> tuple[str, ...]:
    """Names of the topics, in the order in which a series meets them."""
    return _ORDER


def page(topic: str) -> str:
    """The whole page of a topic.

    Raises
    ------
    WrongUsage
        For a topic that does not exist.
    """
    if topic not in _ORDER:
        near = get_close_matches(topic, _ORDER, n=1)
        hint = f'; did you mean "{near[0]}"?' if near else f"; the topics are {', '.join(_ORDER)}"
        raise WrongUsage(f'there is no topic "{topic}"{hint}')
    return (files("meltdoe.explain") / "topics" / f"{topic}.txt").read_text(encoding="utf-8")


def title(topic: str) -> str:
    """The first line of a topic's page."""
    return page(topic).split("\n", 1)[0]
