"""A figure as SVG that a page can hold: ids of its own, a title for those who listen, nothing that reaches outside."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

from meltdoe.report.figures.style import Picture, svg_text

__all__ = ["inline_svg", "standalone_svg"]

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_SIZE = re.compile(r' (?:width|height)="[^"]*"')
_POINTER = re.compile(r"url\(#([^)]+)\)")


_HEAD = '<?xml version="1.0" encoding="utf-8"?>\n'


def standalone_svg(picture: Picture) -> str:
    """The content of an SVG file."""
    return f"{_HEAD}{ET.tostring(_tree(picture), encoding='unicode')}\n"


def inline_svg(standalone: str) -> str:
    """The content of such a file as an element inside a page; it takes the width that the page gives it."""
    tag, rest = standalone.removeprefix(_HEAD).rstrip().split(">", 1)
    return f"{_SIZE.sub('', tag)}>{rest}"


def _tree(picture: Picture) -> ET.Element:
    root = ET.fromstring(svg_text(picture.figure))
    for parent in list(root.iter()):
        for child in list(parent):
            name = child.tag.rpartition("}")[2]
            if name in ("metadata", "style") or (name == "defs" and all(_is_style(part) for part in child)):
                parent.remove(child)
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
        for key, value in list(element.attrib.items()):
            pointed = _POINTER.sub(rf"url(#{picture.name}.\1)", value)
            if key == "id":
                pointed = f"{picture.name}.{value}"
            elif key == f"{{{_XLINK}}}href":
                if not value.startswith("#"):
                    raise ValueError(f"figure {picture.name} holds pixels or points outside itself")
                del element.attrib[key]
                key, pointed = "xlink:href", f"#{picture.name}.{value[1:]}"
            element.set(key, pointed)
    title = ET.Element("title", {"id": f"{picture.name}.title"})
    title.text = f"{picture.title}. {picture.alt}"
    root.insert(0, title)
    root.attrib.update(
        {
            "xmlns": _SVG,
            "xmlns:xlink": _XLINK,
            "role": "img",
            "aria-labelledby": f"{picture.name}.title",
            "style": "stroke-linejoin: round; stroke-linecap: butt",  # what the dropped style sheet said
        }
    )
    return root


def _is_style(element: ET.Element) -> bool:
    return element.tag.rpartition("}")[2] == "style"
