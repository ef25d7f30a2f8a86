"""A small arithmetic parser: text to tokens to tree to value. Nothing in a file is ever run as code.

Grammar (precedence climbing by recursive descent)::

    comparison := sum (("<=" | ">=" | "<" | ">") sum)
    sum        := product (("+" | "-") product)*
    product    := signed (("*" | "/") signed)*
    signed     := ("-" | "+")* power             so that -x^2 is -(x^2)
    power      := atom ("^" signed)?             so that 2^3^2 is 2^(3^2)
    atom       := number | name | "(" sum ")"
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from meltdoe.series.factor import FloatArray

__all__ = ["Comparison", "Expression", "LimitSyntax", "parse_comparison", "parse_expression"]

_LONGEST = 500  # characters; with _DEEPEST it keeps reading and evaluating far from Python's recursion limit
_DEEPEST = 40
_TOKEN = re.compile(r"\s*(?:(\d+\.?\d*(?:[eE][-+]?\d+)?|\.\d+)|([^\W\d]\w*)|(<=|>=|[<>+\-*/^()]))")
_ARITHMETIC = {"+": np.add, "-": np.subtract, "*": np.multiply, "/": np.divide, "^": np.power}
_COMPARISONS = ("<=", ">=", "<", ">")


class LimitSyntax(ValueError):
    """The text is no comparison of two arithmetic expressions; `at` is where reading stopped, from 0."""

    def __init__(self, message: str, at: int) -> None:
        self.at = at
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class _Number:
    value: float


@dataclass(frozen=True, slots=True)
class _Name:
    name: str


@dataclass(frozen=True, slots=True)
class _Operation:
    sign: Literal["+", "-", "*", "/", "^"]
    left: _Tree
    right: _Tree


_Tree: TypeAlias = _Number | _Name | _Operation
Nested: TypeAlias = "float | str | list[Nested]"


def _value(tree: _Tree, columns: Mapping[str, FloatArray]) -> FloatArray:
    if isinstance(tree, _Number):
        return np.asarray(tree.value)
    if isinstance(tree, _Name):
        return np.asarray(columns[tree.name], dtype=float)
    left, right = _value(tree.left, columns), _value(tree.right, columns)
    result = _ARITHMETIC[tree.sign](left, right)
    # 1 / (1 / 0) and 1 ^ (0 / 0) have no value either: what has none once has none for good
    return np.where(np.isfinite(left) & np.isfinite(right) & np.isfinite(result), result, np.nan)


def _names(tree: _Tree) -> frozenset[str]:
    if isinstance(tree, _Name):
        return frozenset({tree.name})
    if isinstance(tree, _Operation):
        return _names(tree.left) | _names(tree.right)
    return frozenset()


def _nested(tree: _Tree) -> Nested:
    if isinstance(tree, _Number):
        return tree.value
    if isinstance(tree, _Name):
        return tree.name
    return [tree.sign, _nested(tree.left), _nested(tree.right)]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two arithmetic expressions and the sign between them."""

    left: _Tree
    sign: str
    right: _Tree

    @property
    def names(self) -> frozenset[str]:
        """The factor names that stand in it."""
        return _names(self.left) | _names(self.right)

    @property
    def nested(self) -> Nested:
        """The same as plain lists, for readers in other languages: [sign, left, right], numbers, names as text."""
        return [self.sign, _nested(self.left), _nested(self.right)]

    def margin(self, columns: Mapping[str, FloatArray]) -> FloatArray:
        """By how much it holds, elementwise: right minus left for "<=", negative where broken, NaN without a value."""
        with np.errstate(all="ignore"):
            left, right = _value(self.left, columns), _value(self.right, columns)
            return np.asarray(right - left if self.sign in ("<=", "<") else left - right)

    def holds(
        self, columns: Mapping[str, FloatArray], tolerance: float = 1e-9
    ) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Whether it holds, elementwise; it does not where a side has no finite value (0/0, 1/0, overflow).

        Parameters
        ----------
        columns : values by name, all of one shape.
        tolerance : relative slack of "<=" and ">=", so that 0.1 * 3 keeps within 0.3.
        """
        with np.errstate(all="ignore"):
            left, right = _value(self.left, columns), _value(self.right, columns)
            finite = np.isfinite(left) & np.isfinite(right)
            slack = tolerance * np.maximum(1.0, np.maximum(np.abs(left), np.abs(right)))
            if self.sign == "<=":
                keeps = left <= right + slack
            elif self.sign == ">=":
                keeps = left >= right - slack
            else:
                keeps = left < right if self.sign == "<" else left > right
            return np.asarray(finite & keeps)


@dataclass(frozen=True, slots=True)
class Expression:
    """One arithmetic expression, such as the share of a material: ``"flux"``, ``"0.6 * flux"`` or ``"12.5"``."""

    text: str
    tree: _Tree

    @property
    def names(self) -> frozenset[str]:
        """The factor names that stand in it."""
        return _names(self.tree)

    def value(self, columns: Mapping[str, FloatArray]) -> FloatArray:
        """Its value, elementwise; NaN where it has none."""
        with np.errstate(all="ignore"):
            return _value(self.tree, columns)


class _Reader:
    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens: list[tuple[str, str, int]] = []
        at = 0
        while text[at:].strip():
            match = _TOKEN.match(text, at)
            if match is None:
                spot = at + len(text[at:]) - len(text[at:].lstrip())
                raise LimitSyntax(f'"{text[spot]}" has no meaning here', spot)
            kind = ("number", "name", "sign")[(match.lastindex or 1) - 1]
            self.tokens.append((kind, match.group(match.lastindex or 1), match.start(match.lastindex or 1)))
            at = match.end()
        self.tokens.append(("end", "", len(text)))
        self.index = 0
        self.depth = 0

    def peek(self) -> tuple[str, str, int]:
        return self.tokens[self.index]

    def take(self) -> tuple[str, str, int]:
        token = self.tokens[self.index]
        self.index += 1
        return token

    def comparison(self) -> Comparison:
        left = self.sum()
        _, sign, at = self.take()
        if sign not in _COMPARISONS:
            raise LimitSyntax("a limit compares two sides with <=, >=, < or >", at)
        right = self.sum()
        if self.peek()[1] in _COMPARISONS:
            raise LimitSyntax("a limit holds one comparison only, so a range takes two limits", self.peek()[2])
        if self.peek()[0] != "end":
            raise LimitSyntax(f'"{self.peek()[1]}" is one part too many', self.peek()[2])
        return Comparison(left, sign, right)

    def deeper(self) -> None:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise LimitSyntax("brackets or powers are nested too deeply", self.peek()[2])

    def sum(self) -> _Tree:
        self.deeper()
        tree = self.product()
        while self.peek()[1] in ("+", "-"):
            sign = self.take()[1]
            tree = _Operation("+" if sign == "+" else "-", tree, self.product())
        self.depth -= 1
        return tree

    def product(self) -> _Tree:
        tree = self.signed()
        while self.peek()[1] in ("*", "/"):
            sign = self.take()[1]
            tree = _Operation("*" if sign == "*" else "/", tree, self.signed())
        return tree

    def signed(self) -> _Tree:
        negative = False
        while self.peek()[1] in ("-", "+"):
            negative ^= self.take()[1] == "-"
        tree = self.power()
        return _Operation("-", _Number(0.0), tree) if negative else tree

    def power(self) -> _Tree:
        base = self.atom()
        if self.peek()[1] != "^":
            return base
        self.take()
        self.deeper()
        tree = _Operation("^", base, self.signed())
        self.depth -= 1
        return tree

    def atom(self) -> _Tree:
        kind, text, at = self.take()
        if kind == "number":
            if not np.isfinite(float(text)):
                raise LimitSyntax(f'"{text}" is too large a number', at)
            return _Number(float(text))
        if kind == "name":
            return _Name(text)
        if text == "(":
            inner = self.sum()
            _, closing, at = self.take()
            if closing != ")":
                raise LimitSyntax("a bracket is not closed", at)
            return inner
        raise LimitSyntax(
            "a number or a factor name is missing"
            if kind == "end"
            else f'"{text}" stands where a number or a factor name belongs',
            at,
        )


def parse_comparison(text: str) -> Comparison:
    """Read ``"flux + 0.1 * peak <= 160"``.

    Raises
    ------
    LimitSyntax
        Where the text is no comparison; carries the position.
    """
    if len(text) > _LONGEST:
        raise LimitSyntax(f"a limit may have at most {_LONGEST} characters", _LONGEST)
    return _Reader(text).comparison()


def parse_expression(text: str) -> Expression:
    """Read ``"0.6 * flux"``.

    Raises
    ------
    LimitSyntax
        Where the text is no arithmetic expression; carries the position.
    """
    if len(text) > _LONGEST:
        raise LimitSyntax(f"an expression may have at most {_LONGEST} characters", _LONGEST)
    reader = _Reader(text)
    tree = reader.sum()
    if reader.peek()[0] != "end":
        raise LimitSyntax(f'"{reader.peek()[1]}" is one part too many', reader.peek()[2])
    return Expression(text, tree)
