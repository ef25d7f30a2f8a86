"""Words on the command line that cannot be used: one line that says which, and what to type instead."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

__all__ = ["is_wrong_words", "wrong_words"]

_QUOTED = re.compile(r"'([^']*)'")
_COMMA = re.compile(r"[-+]?\d+,\d+")


def is_wrong_words(error: Exception) -> bool:
    """Whether the command line's parser raised it; its own classes differ from one release to the next."""
    return hasattr(error, "format_message") and hasattr(error, "exit_code")


def wrong_words(error: Any, typed: Sequence[str], commands: Sequence[str]) -> str:
    """What is wrong with the words typed behind `meltdoe`, as one sentence.

    Parameters
    ----------
    error : as raised by the parser.
    typed : the words.
    commands : names of all commands.
    """
    message = " ".join(str(error.format_message()).split())
    command = next((word for word in typed if word in commands), "")
    asked = f"see: meltdoe {command} --help" if command else "see: meltdoe --help"
    option = str(getattr(error, "option_name", None) or "")
    if option and "No such option" in message:
        known = [name for param in error.ctx.command.params for name in param.opts if name.startswith("--")]
        near = difflib.get_close_matches(option, [*known, "--help"], n=1)
        behind = f" behind meltdoe {command}" if command else " before a command"
        meant = f"write {near[0]}, or " if near else ""
        return f'there is no option "{option}"{behind}; {meant}{asked}'
    if option and "requires" in message:
        return f"{option} needs a value behind it; {asked}"
    if option and "not take a value" in message:
        return f"{option} is given without a value; {asked}"
    if message.startswith("No such command"):
        return _no_command(_QUOTED.findall(message)[0], commands)
    if "unexpected extra argument" in message:
        return _one_too_many(message, command, asked)
    param = getattr(error, "param", None)
    if param is None:
        return f"{message.rstrip('.')}; {asked}"
    name = next((o for o in param.opts if o.startswith("--")), str(getattr(param, "metavar", None) or param.name))
    if message.startswith("Missing"):
        return f"{name} is missing; {asked}"
    words = _QUOTED.findall(message.rpartition("is not one of")[2]) if "is not one of" in message else []
    given = _given(name, typed)
    instead = f', not "{given}"' if given else ""
    mend = "; write the decimals behind a point" if not words and _COMMA.fullmatch(given) else ""
    return f"{name} takes {_taken(param, message, words)}{instead}{mend}"


def _no_command(word: str, commands: Sequence[str]) -> str:
    near = difflib.get_close_matches(word, commands, n=1)
    if near:
        mend = f"write meltdoe {near[0]}"
    elif Path(word).exists():
        mend = f'the folder goes behind a command, such as: meltdoe check "{word}"'
    else:
        mend = f"the commands are {', '.join(commands)}"
    return f'there is no command "{word}"; {mend}'


def _one_too_many(message: str, command: str, asked: str) -> str:
    extra = message[message.rfind("(") + 1 : message.rfind(")")] if "(" in message else ""
    one = "topic" if command == "explain" else "folder"
    return (
        f'meltdoe {command} takes one {one}, and "{extra}" comes on top of it; put a name with spaces in quotes, '
        f"and {asked}"
    )


def _taken(param: Any, message: str, words: Sequence[str]) -> str:
    """What an option takes, in words."""
    if words:
        return f"{', '.join(words[:-1])} or {words[-1]}"
    low, high = getattr(param, "min", None), getattr(param, "max", None)
    sort = str(getattr(param, "type_descriptor", getattr(param, "type", ""))).lower()
    whole = "integer" in message or "class 'int'" in sort or "list[int]" in sort
    kind = "a whole number" if whole else "a number"
    if low is not None and high is not None:
        return f"{kind} from {low:g} to {high:g}"
    if low is not None:
        return f"{kind} of at least {low:g}"
    if "number" in message or "integer" in message:
        return kind
    return f"something else ({message.rstrip('.')})"


def _given(name: str, typed: Sequence[str]) -> str:
    """The value typed behind an option; empty where it cannot be found."""
    for place, word in enumerate(typed):
        if word == name and place + 1 < len(typed):
            return typed[place + 1]
        if word.startswith(f"{name}="):
            return word.partition("=")[2]
    return ""
