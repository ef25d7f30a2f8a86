"""Running the commands: as the program that a person starts, or, where many are tried, inside this process."""

import contextlib
import io
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from unittest import mock


@dataclass(frozen=True)
class Ran:
    """How a command ended and what it said."""

    code: int
    out: str
    err: str

    @property
    def document(self):
        """Standard output as the one JSON document that it must be."""
        assert self.code == 0, self.err
        return json.loads(self.out)

    @property
    def lines(self):
        """Standard error, line by line."""
        return self.err.splitlines()


def started(*words, cwd, stdin="", settings=None):
    """Run `meltdoe` with some words as a program of its own."""
    surroundings = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MPLBACKEND": "Agg"}
    done = subprocess.run(
        [sys.executable, "-m", "meltdoe", *map(str, words)],
        cwd=cwd,
        input=stdin.encode(),
        capture_output=True,
        env={**surroundings, "PYTHONIOENCODING": "utf-8", **(settings or {})},
        timeout=300,
        check=False,
    )
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())


def called(*words, stdin=""):
    """Run `meltdoe` with some words inside this process: the same entrance, without the start of a program."""
    from meltdoe.cli.app import main

    out, err = io.StringIO(), io.StringIO()
    with (
        mock.patch.object(sys, "argv", ["meltdoe", *map(str, words)]),
        mock.patch.object(sys, "stdin", io.StringIO(stdin)),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as ended:
            code = ended.code
        else:
            code = 0
    return Ran(int(code or 0), out.getvalue(), err.getvalue())


def on_disk(folder):
    """Every file below a folder but the lock, with its bytes, and every folder."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else None
        for path in sorted(Path(folder).rglob("*"))
        if path.name != ".lock"
    }
