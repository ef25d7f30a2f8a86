"""Source archive and wheel: built, looked into, installed where nothing else of the project is in sight, and used."""

import email
import os
import subprocess
import sys
import sysconfig
import tarfile
import zipfile
from pathlib import Path

import pytest

import meltdoe

ROOT = Path(__file__).resolve().parents[2]


def run(*words, cwd, **settings):
    """Run a program without the checkout on its path; returns what it said on standard output."""
    surroundings = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    done = subprocess.run(
        [*map(str, words)],
        cwd=cwd,
        env={**surroundings, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MPLBACKEND": "Agg", **settings},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The folder with the source archive, and the wheel that was built from it with the backend installed here."""
    out = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", out, ROOT, cwd=out)
    return out


@pytest.fixture(scope="module")
def wheel(built):
    (found,) = built.glob("*.whl")
    return found


def in_checkout(*folders):
    """Every file below these folders of the checkout but caches, with its path from the top."""
    return {
        path.relative_to(ROOT).as_posix()
        for folder in folders
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith(".")
    }


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """A new environment that holds the wheel; its dependencies are those of the environment that runs the tests.

    The path file adds their folder at the end of the path and does not follow the path files in there, so that a
    checkout installed for development stays out of sight.
    """
    home = tmp_path_factory.mktemp("environment") / "env"
    run(sys.executable, "-m", "venv", "--without-pip", home, cwd=home.parent)
    python = home / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    packages = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=home).strip())
    lent = dict.fromkeys(sysconfig.get_path(kind) for kind in ("purelib", "platlib"))
    (packages / "lent.pth").write_text("\n".join(lent) + "\n", encoding="utf-8")
    pip = (sys.executable, "-m", "pip", "--python", python, "--disable-pip-version-check", "--quiet")
    run(*pip, "install", "--no-deps", "--no-index", wheel, cwd=home)
    return home, python


def test_the_wheel_carries_all_that_the_program_reads(wheel):
    inside = set(zipfile.ZipFile(wheel).namelist())
    needed = in_checkout("meltdoe") | {f"meltdoe/{name}" for name in in_checkout("designs", "examples")}
    assert not needed - inside
    for one in (
        "meltdoe/py.typed",
        "meltdoe/LICENSE",
        "meltdoe/designs/two-level-generators.csv",
        "meltdoe/examples/obsidian-block/series.toml",
        "meltdoe/examples/obsidian-block/journal.jsonl",
        "meltdoe/glass/data/cautions.csv",
        "meltdoe/sheets/wording/sheets.html.j2",
        "meltdoe/report/wording/report.html.j2",
    ):
        assert one in inside


def test_the_source_archive_carries_all_that_it_takes_to_build_and_check(built):
    (archive,) = built.glob("*.tar.gz")
    with tarfile.open(archive) as opened:
        inside = {name.partition("/")[2] for name in opened.getnames()}
    alone = {"pyproject.toml", "README.md", "DEVELOPERS.md", ".ci/run", ".ci/constraints.txt"}
    assert not (in_checkout("meltdoe", "tests", "designs", "examples") | alone) - inside
    assert not [name for name in inside if name.endswith((".pyc", ".lock", ".part", ".pth"))]
    tops = {name.split("/")[0] for name in inside}
    assert tops <= {"meltdoe", "tests", "designs", "examples", ".ci", ".gitignore", "PKG-INFO"} | alone


def test_the_wheel_carries_nothing_else(wheel):
    inside = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in inside}
    assert len(tops) == 2
    assert "meltdoe" in tops
    assert not [n for n in inside if "__pycache__" in n or "/tests/" in n or n.endswith((".pyc", ".lock", ".part"))]
    assert sum(entry.file_size for entry in zipfile.ZipFile(wheel).infolist()) < 3_000_000


def test_the_wheel_says_what_it_is_and_what_it_needs(wheel):
    archive = zipfile.ZipFile(wheel)
    (name,) = (n for n in archive.namelist() if n.endswith(".dist-info/METADATA"))
    said = email.message_from_bytes(archive.read(name))
    assert said["Name"] == "meltdoe"
    assert said["Version"] == meltdoe.__version__
    changes = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("\n## Changes\n")[2]
    assert changes.lstrip().startswith(f"### {meltdoe.__version__} (")
    assert said["License-Expression"] == "MIT"
    assert said["Requires-Python"] == ">=3.11"
    needs = {need.split(">")[0].split(";")[0].strip().lower() for need in said.get_all("Requires-Dist")}
    assert {"numpy", "scipy", "pandas", "typer", "jinja2", "matplotlib"} <= needs
    assert "meltdoe" in said.get_payload()[:2000], "the page of the package is the read-me"
    (points,) = (n for n in archive.namelist() if n.endswith(".dist-info/entry_points.txt"))
    assert "meltdoe = meltdoe.cli.app:main" in archive.read(points).decode()


def test_the_installed_program_is_the_wheels_and_not_the_checkout(installed, tmp_path):
    home, python = installed
    told = run(python, "-c", "import meltdoe, meltdoe.shipped as s; print(meltdoe.__file__); "
               "print(s.shipped_folder('designs')); print(s.shipped_folder('examples'))", cwd=tmp_path)  # fmt: skip
    for line in told.splitlines():
        assert Path(line).resolve().is_relative_to(home.resolve()), line


def test_the_installed_program_does_the_whole_tour_from_another_folder(installed, tmp_path):
    home, _ = installed
    program = home / ("Scripts/meltdoe.exe" if os.name == "nt" else "bin/meltdoe")
    assert run(program, "--version", cwd=tmp_path).startswith("meltdoe ")
    before = {path: path.stat().st_mtime_ns for path in home.rglob("*") if path.suffix in (".csv", ".toml", ".jsonl")}
    told = run(program, "tour", "first-look", cwd=tmp_path, PYTHONIOENCODING="utf-8")
    last = told.splitlines()[-1]
    assert last.startswith("Report: ")
    page = (tmp_path / last.removeprefix("Report: ")).read_text(encoding="utf-8")
    assert page.lower().startswith("<!doctype html>")
    assert page.rstrip().endswith("</html>")
    assert "invented" in page
    assert run(program, "check", "first-look", cwd=tmp_path)
    after = {path: path.stat().st_mtime_ns for path in home.rglob("*") if path.suffix in (".csv", ".toml", ".jsonl")}
    assert after == before, "the shipped examples stay as they are"
