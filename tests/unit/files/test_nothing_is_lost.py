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


def test_everything_acknowledged_outlives_forty_kills(tmp_path):
    result = run("kill", tmp_path, 40)
    assert result.returncode == 0, result.stderr
    acknowledged, repairs = map(int, result.stdout.split())
    assert acknowledged >= 20
    assert repairs <= 10  # only where an editor was cut off while it saved


def test_four_processes_record_at_once_and_none_overwrites_another(tmp_path):
    result = run("crowd", tmp_path, 4, 25)
    assert result.returncode == 0, result.stderr
    assert result.stdout.split()[0] == "100"
