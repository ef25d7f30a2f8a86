"""How values and blocks are written in TOML, with remarks and parts that are switched off by a leading #."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Sequence

from meltdoe.series.factor import Setting
from meltdoe.units import Quantity

__all__ = [
    "blocks_of", "given", "lines_of", "switched_off", "text_or_none", "toml_key", "toml_number", "toml_quantity",
    "toml_setting", "toml_text", "toml_texts",
]  # fmt: skip

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+\Z")


def lines_of(lines: Iterable[str]) -> str:
    return "\n".join(lines) + "\n"


def blocks_of(key: str, blocks: Iterable[Sequence[str]]) -> str:
    return "\n".join(lines_of([f"[[{key}]]", *block]) for block in blocks)


def switched_off(remark: str, lines: Iterable[str]) -> str:
    return remark + lines_of(f"#{line}" for line in lines)


def toml_text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_texts(values: Iterable[str]) -> str:
    return "[" + ", ".join(map(toml_text, values)) + "]"


def toml_number(value: float) -> str:
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(float(value))


def toml_setting(value: Setting) -> str:
    return toml_text(value) if isinstance(value, str) else toml_number(value)


def toml_key(name: str) -> str:
    return name if _BARE_KEY.match(name) else toml_text(name)


def toml_quantity(quantity: Quantity) -> str:
    return toml_text(f"{toml_number(quantity.value)} {quantity.unit}")


def given(**values: str | None) -> list[str]:
    """key = value for whatever is given; the values are TOML already."""
    return [f"{key} = {value}" for key, value in values.items() if value is not None]


def text_or_none(value: str) -> str | None:
    return toml_text(value) if value else None
