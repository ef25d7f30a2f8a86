"""A rehearsal that was stopped goes on where it was, and workers of any kind give the same numbers."""

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace

import pytest
from distributed import LocalCluster

from meltdoe.errors import WrongUsage
from meltdoe.files.store.rehearsal_jsonl import REHEARSAL_NAME, FinishedSeries
from meltdoe.plans.draw_up import make_plan
from meltdoe.rehearsal.simulated_series import rehearse
from meltdoe.rehearsal.workers import cluster_workers, core_workers, cores
from meltdoe.series import Amount, Budget, MeltSeries, Outcome

SERIES = MeltSeries(
    "invented",
    (Amount("flux", 15, 40, unit="wt%", step=5), Amount("peak", 1100, 1250, unit="°C", step=50)),
    (Outcome("whole", "pass"),),
    budget=Budget(melts=5),
    target_chance=0.7,
    seed=3,
)


class _Stopped(Exception):
    """Stands for Ctrl-C."""


def stop_after(number):
    def tell(done):
        if done == number:
            raise _Stopped

    return tell


@pytest.mark.parametrize("policy", ["plan", "follow-up"])
def test_stopped_and_taken_up_equals_played_through(policy, tmp_path):
    whole = rehearse(SERIES, policy=policy, count=6, seed=9)
    with pytest.raises(_Stopped):
        rehearse(SERIES, policy=policy, count=6, seed=9, finished=FinishedSeries(tmp_path), tell=stop_after(3))
    assert len((tmp_path / REHEARSAL_NAME).read_text().splitlines()) == 3
    told = []
    gone_on = rehearse(SERIES, policy=policy, count=6, seed=9, finished=FinishedSeries(tmp_path), tell=told.append)
    assert gone_on.played == whole.played
    assert told == [4, 5, 6], "the first three were not played again"
    again = rehearse(SERIES, policy=policy, count=6, seed=9, finished=FinishedSeries(tmp_path), tell=told.append)
    assert again.played == whole.played
    assert told == [4, 5, 6]


def test_what_was_played_of_another_series_is_not_taken_up(tmp_path):
    kept = FinishedSeries(tmp_path)
    rehearse(SERIES, count=3, finished=kept)
    for changed in (replace(SERIES, target_chance=0.6), replace(SERIES, seed=4)):
        told = []
        rehearse(changed, count=3, finished=kept, tell=told.append)
        assert told == [1, 2, 3]
    told = []
    rehearse(SERIES, count=2, policy="random", plan=make_plan(SERIES, "centre", 2), finished=kept, tell=told.append)
    assert told == [1, 2]
    assert len((tmp_path / REHEARSAL_NAME).read_text().splitlines()) == 2, "lines that are out of date are dropped"


def test_a_torn_or_foreign_file_costs_time_and_nothing_else(tmp_path):
    kept = FinishedSeries(tmp_path)
    whole = rehearse(SERIES, count=4, finished=kept)
    file = tmp_path / REHEARSAL_NAME
    lines = file.read_text().splitlines()
    broken = [lines[0], "\x00nonsense", '{"format": 1}', "[" * 5000, lines[1].replace("true_chance", "untrue"),
              lines[2].replace('"claimed": ', '"claimed": 1'), lines[3][:40]]  # fmt: skip
    file.write_text("\n".join(broken))
    told = []
    assert rehearse(SERIES, count=4, finished=kept, tell=told.append).played == whole.played
    assert told == [2, 3, 4]
    file.unlink()
    file.mkdir()
    assert kept.found("key", "plan") == {}


def test_a_cluster_gives_the_same_numbers():
    alone = rehearse(SERIES, count=5, seed=2)
    with (
        LocalCluster(
            n_workers=1,
            threads_per_worker=2,
            processes=False,
            protocol="tcp://",
            host="127.0.0.1",
            dashboard_address=":0",
        ) as cluster,
        cluster_workers(cluster.scheduler_address) as workers,
    ):
        assert rehearse(SERIES, count=5, seed=2, executor=workers).played == alone.played


@pytest.mark.parametrize("address", ["nowhere", "tcp://nowhere", "a b:1", "host:port"])
def test_what_is_no_address_of_a_cluster_is_one_line(address):
    with pytest.raises(WrongUsage, match="is no address of a cluster; write it like tcp://"), cluster_workers(address):
        pass


def test_a_cluster_that_is_not_there_is_one_line(monkeypatch):
    monkeypatch.setattr("meltdoe.rehearsal.workers._SECONDS", 0.2)
    with (
        pytest.raises(
            WrongUsage, match=r'no cluster answers at "tcp://127\.0\.0\.1:9" .*; see that its scheduler runs'
        ),
        cluster_workers("tcp://127.0.0.1:9"),
    ):
        pass
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(WrongUsage, match=r"pip install 'meltdoe\[cluster\]'"), cluster_workers("tcp://127.0.0.1:9"):
        pass


def test_processes_are_started_only_where_they_pay():
    with core_workers(7) as few:
        assert few is None
    with core_workers(100, most=1) as one:
        assert one is None
    assert cores() >= 1
    alone = rehearse(SERIES, count=8, seed=2)
    with core_workers(8, most=2) as two:
        assert two is not None
        assert rehearse(SERIES, count=8, seed=2, executor=two).played == alone.played


RUN = """
import signal
from pathlib import Path
from meltdoe.files.store.rehearsal_jsonl import FinishedSeries
from meltdoe.rehearsal.simulated_series import rehearse
from meltdoe.rehearsal.workers import core_workers
from tests.unit.rehearsal.test_going_on import SERIES

if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may have started all this with it ignored
    with core_workers(400, most=2) as workers:
        rehearse(SERIES, count=400, seed=9, executor=workers, finished=FinishedSeries(Path(".")), tell=print)
"""


def test_a_real_interrupt_leaves_whole_series_on_the_disk(tmp_path):
    """SIGINT to the whole group, as Ctrl-C sends it: the process ends soon, and what is on the disk is taken up."""
    script = tmp_path / "run.py"
    script.write_text(RUN)
    run = subprocess.Popen(
        [sys.executable, "-u", str(script)], cwd=tmp_path, start_new_session=True, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert run.stdout is not None
    for _ in range(6):
        assert run.stdout.readline()
    os.killpg(run.pid, signal.SIGINT)
    started = time.monotonic()
    _, err = run.communicate(timeout=60)
    assert time.monotonic() - started < 30
    assert run.returncode != 0
    assert "KeyboardInterrupt" in err
    lines = (tmp_path / REHEARSAL_NAME).read_text().splitlines()
    assert 6 <= len(lines) < 400
    told = []
    gone_on = rehearse(SERIES, count=8, seed=9, finished=FinishedSeries(tmp_path), tell=told.append)
    assert len(told) <= 4, "most of the first eight were played before the interrupt"
    assert gone_on.played == rehearse(SERIES, count=8, seed=9).played
