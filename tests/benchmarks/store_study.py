"""The store of a series folder under kills, crowds, failing disks and damage, at full length.

    python tests/benchmarks/store_study.py [kill] [crowd] [disk] [fuzz]

Without words all four are run. The same programs run in the test suite at a tenth or less of this length.
"""

import errno
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
TESTS = Path(__file__).parents[1] / "unit" / "files"
sys.path[:0] = [str(TESTS), str(TESTS.parents[2])]
KILLS, PROCESSES, RECORDS, DAMAGES = 1000, 8, 200, 20_000


def _run(*words):
    command = [sys.executable, str(TESTS / "killed_and_crowded.py"), *map(str, words)]
    done = subprocess.run(
        command, env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}, capture_output=True, text=True, check=False
    )
    if done.returncode:
        sys.exit(f"failed: {done.stderr}")
    return [int(word) for word in done.stdout.split()]


def kill(folder):
    """SIGKILL at random moments of records, corrections, edits, plans and rebuilds."""
    acknowledged, repairs = _run("kill", folder, KILLS)
    return (
        f"{KILLS} kills: {acknowledged} acknowledged writes, none missing; the folder opened by itself "
        f"{KILLS - repairs} times, and {repairs} times after one `check --rebuild`"
    )


def crowd(folder):
    """Several processes record at once."""
    acknowledged, waited = _run("crowd", folder, PROCESSES, RECORDS)
    return (
        f"{PROCESSES} processes at once: {acknowledged} of {PROCESSES * RECORDS} melts there, each once; "
        f"{waited} times a process gave up waiting for the lock, said so and tried again"
    )


def disk(folder):
    """Every call that reaches the disk fails in turn, once or for good."""
    import test_failing_disks as failing

    calls = 0
    for error in (errno.ENOSPC, errno.EIO, errno.EACCES, errno.EROFS):
        for for_good in (False, True):
            place = folder / f"{error}-{for_good}"
            place.mkdir()
            failing.test_whatever_call_fails_nothing_acknowledged_is_lost(place, error, for_good)
            calls += sum(path.is_dir() and path.name != "whole" for path in place.iterdir())
    return f"{calls} failing calls: nothing acknowledged is missing, no half file is left"


def fuzz(folder):
    """Damaged files, and one command on each."""
    from store_fuzz import fuzz as one
    from store_fuzz import sound

    files = sound(folder)
    ended = Counter(one(folder, files, 1_000_000 + seed) for seed in range(DAMAGES))
    return (
        f"{DAMAGES} damages: {ended['done']} commands did their work, {ended['said']} said one line a problem and "
        "changed no file; no traceback"
    )


def main():
    studies = {study.__name__: study for study in (kill, crowd, disk, fuzz)}
    for name in sys.argv[1:] or studies:
        start = time.perf_counter()
        with tempfile.TemporaryDirectory() as place:
            said = studies[name](Path(place))
        print(f"{said} ({time.perf_counter() - start:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
