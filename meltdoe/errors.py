"""What can go wrong, as data first and as a sentence second.

::

    MeltdoeError
    ├── ProblemsFound     the user's files: one or more `Problem`, exit code 1 (2 where no file is at fault)
    ├── WrongUsage        the command or call itself, exit code 2
    └── Inestimable       the data cannot support the estimate; names the terms
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum

__all__ = ["ExitCode", "Inestimable", "MeltdoeError", "Problem", "ProblemsFound", "WrongUsage"]


class ExitCode(IntEnum):
    """How a command ends."""

    DONE = 0
    FILES = 1
    USAGE = 2


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in the user's files: where, what, and how to mend it.

    Parameters
    ----------
    file : name of the file as the user knows it, for example ``"series.toml"``; empty for what was typed or passed
        to a call, which no file is to blame for.
    line : line number counted from 1, or None where no line can be named.
    what : what is wrong, quoting the user's own text.
    mend : what to do about it, in the imperative.
    """

    file: str
    line: int | None
    what: str
    mend: str

    def __str__(self) -> str:
        where = (self.file or "meltdoe") if self.line is None else f"{self.file}, line {self.line}"
        return " ".join(f"{where}: {self.what}; {self.mend}".split())


class MeltdoeError(Exception):
    """Root of everything that meltdoe raises on purpose."""


class ProblemsFound(MeltdoeError):
    """One or more problems in the user's files, all reported together."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @property
    def typed(self) -> bool:
        """Whether no file is at fault: only what was typed has to be changed."""
        return bool(self.problems) and not any(problem.file for problem in self.problems)

    @classmethod
    def single(cls, file: str, line: int | None, what: str, mend: str) -> ProblemsFound:
        """The common case of exactly one problem."""
        return cls([Problem(file, line, what, mend)])


class WrongUsage(MeltdoeError):
    """The command was called with words that do not fit together."""


class Inestimable(MeltdoeError):
    """The data cannot support an estimate.

    Parameters
    ----------
    message : one sentence for a person.
    terms : the terms that cannot be told apart, by name where names are known.
    """

    def __init__(self, message: str, terms: tuple[str, ...] = ()) -> None:
        self.terms = terms
        super().__init__(message)
