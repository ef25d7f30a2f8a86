"""The program: its commands, its help, and how it ends.

Every command imports what it needs when it runs, so that `meltdoe --help` is instant.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, NoReturn

import typer

import meltdoe
from meltdoe.cli import (
    advising,
    analysis,
    bench,
    buying,
    comparing,
    explaining,
    planning,
    recording,
    rehearsing,
    setting_out,
    writeup,
)
from meltdoe.cli.console import warn
from meltdoe.cli.wrong_words import is_wrong_words, wrong_words
from meltdoe.errors import ExitCode, MeltdoeError, ProblemsFound, WrongUsage

__all__ = ["app", "main"]

app = typer.Typer(
    name="meltdoe",
    help="Plan, record and learn from a short series of test melts and castings.",
    epilog="Start with: meltdoe tour",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"meltdoe {meltdoe.__version__}")
        raise typer.Exit


@app.callback()
def _every_command(
    verbose: Annotated[bool, typer.Option("--verbose", "-v", help="Say more on standard error.")] = False,
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an unexpected fault.")] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    del version
    _hear(verbose)
    if debug:
        os.environ["MELTDOE_DEBUG"] = "1"


def _hear(verbose: bool) -> None:
    """What the steps tell on their way reaches the person, on standard error."""
    import logging

    class ToPerson(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            warn(self.format(record))

    told = logging.getLogger("meltdoe")
    told.handlers[:] = [ToPerson()]
    told.setLevel(logging.INFO if verbose else logging.WARNING)
    told.propagate = False


COMMANDS: dict[str, Callable[..., None]] = {
    "tour": setting_out.tour,
    "begin": setting_out.begin,
    "check": setting_out.check,
    "options": comparing.options,
    "plan": planning.plan,
    "buy": buying.buy,
    "glass": buying.glass,
    "sheets": bench.sheets,
    "record": recording.record,
    "log": bench.log,
    "analyse": analysis.analyse,
    "next": advising.next_melt,
    "rehearse": rehearsing.rehearse,
    "report": writeup.report,
    "explain": explaining.explain,
}
for name, command in COMMANDS.items():
    app.command(name)(command)


def main() -> None:
    """Run a command and end with its exit code; a fault in the user's files is one line each, never a traceback."""
    # tables here are small: a second BLAS thread costs more than it brings, and the numbers stay the same
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # closed by the shell that called: nothing is read there, nothing is seen
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without °C shows "?" in its place
    try:
        code = app(prog_name="meltdoe", standalone_mode=False)
    except ProblemsFound as found:
        warn(*found.problems)
        sys.exit(ExitCode.USAGE if found.typed else ExitCode.FILES)
    except WrongUsage as error:
        warn(f"meltdoe: {error}")
        sys.exit(ExitCode.USAGE)
    except MeltdoeError as error:
        warn(f"meltdoe: {error}")
        sys.exit(ExitCode.FILES)
    except KeyboardInterrupt:
        _say_stopped()
    except OSError as error:
        if os.environ.get("MELTDOE_DEBUG"):
            raise
        where = f"{error.filename}: " if error.filename else ""
        warn(f"meltdoe: {where}{error.strerror or error}; check that the folder exists and may be written")
        sys.exit(ExitCode.FILES)
    except Exception as error:
        if is_wrong_words(error):
            if len(sys.argv) > 1:
                warn(f"meltdoe: {wrong_words(error, sys.argv[1:], tuple(COMMANDS))}")
            else:
                warn(*str(error.format_message()).splitlines())  # type: ignore[attr-defined] # the whole help page
            sys.exit(ExitCode.USAGE)
        if os.environ.get("MELTDOE_DEBUG"):
            raise
        warn(f"meltdoe: a fault of the program itself, {type(error).__name__}: {error}; --debug shows where")
        sys.exit(ExitCode.FILES)
    if code == _STOPPED:
        _say_stopped()
    sys.exit(code or ExitCode.DONE)


_STOPPED = 130  # what a shell gives a program that was stopped from the keyboard


def _say_stopped() -> NoReturn:
    warn("", "meltdoe: stopped; nothing is half-written")
    sys.exit(_STOPPED)
