"""Format, lint and strict types, as part of the tests so that one command checks everything."""

import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "--no-cache", "meltdoe", "tests"],
        ["ruff", "format", "--check", "--no-cache", "meltdoe", "tests"],
        ["mypy"],
    ],
    ids=["lint", "format", "types"],
)
def test_the_checker_is_content(command):
    run = subprocess.run([sys.executable, "-m", *command], cwd=TOP, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


def test_the_top_level_holds_what_it_should_and_nothing_more():
    tracked = subprocess.run(["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=False)
    if tracked.returncode == 0 and tracked.stdout:
        names = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    else:
        made_by_tools = {"build", "dist"}
        names = {path.name for path in TOP.iterdir()} - made_by_tools
    plain = {name for name in names if not name.startswith(".")}
    assert plain == {"README.md", "DEVELOPERS.md", "pyproject.toml", "meltdoe", "tests", "designs", "examples"}
