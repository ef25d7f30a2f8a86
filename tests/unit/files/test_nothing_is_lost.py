"""Killed at any moment, or crowded by other processes: whatever was acknowledged is there."""

import os
import subprocess
import sys
from pathlib import Path

import meltdoe

PROGRAM = Path(__file__).with_name("killed_and_crowded.py")


def run(*words):
    # one thread, so that the program may split into processes
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    path = os.pathsep.join([str(Path(meltdoe.__path__[0]).parent), *sys.path])
    return subprocess.run(
        [sys.executable, str(PROGRAM), *map(str, words)],
        env=os.environ | one_thread | {"PYTHONPATH": path},
        capture_output=True,
        text=True,
        timeout=120,
    )


def test_every_acknowledged_record_outlives_forty_kills(tmp_path):
    result = run("kill", tmp_path, 40)
    assert result.returncode == 0, result.stderr
    assert int(result.stdout) >= 20
    assert not list(tmp_path.glob(".*.part"))


def test_four_processes_record_at_once_and_none_overwrites_another(tmp_path):
    result = run("crowd", tmp_path, 4, 25)
    assert result.returncode == 0, result.stderr
    assert result.stdout.strip() == "100"
