"""Every call that touches the disk fails in turn: what was acknowledged is there, and the folder opens."""

import errno
import io
import os
import resource
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest
from bench_series import SPILLED, bench_plan, bench_series, settings, snapshot
from store_steps import correct, edit, missing, opened, record, replan

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.lock import locked
from meltdoe.files.store import journal
from meltdoe.files.store.journal import read_journal
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.plan_csv import read_plan, write_plan
from meltdoe.files.store.recording import history, rebuild, record_melt, remove_melt, undo
from meltdoe.files.store.settling import settle

CALLS = [(os, "open"), (os, "write"), (os, "fsync"), (os, "replace"), (io, "open")]


class Disk:
    """Counts the calls that reach the disk and lets one of them fail, or that one and all that follow."""

    def __init__(self, monkeypatch, fails_at=0, for_good=False, error=errno.ENOSPC):
        self.count, self.fails_at, self.for_good, self.error = 0, fails_at, for_good, error
        for module, name in CALLS:
            monkeypatch.setattr(module, name, self.failing(name, getattr(module, name)))

    def failing(self, name, real):
        def call(*args, **kwargs):
            self.count += 1
            if self.count == self.fails_at or (self.for_good and self.count > self.fails_at > 0):
                if name == "write":  # half of it still fits
                    real(args[0], bytes(args[1])[: len(args[1]) // 2])
                raise OSError(self.error, os.strerror(self.error))
            return real(*args, **kwargs)

        return call


def work(series, tell):
    """Records and rewrites; a step that fails says why in one line, and the next one is tried all the same."""
    steps = [
        lambda: tell(record(series, 1), 1),
        lambda: (correct(series, 1, 2), tell(1, 2)),
        lambda: (edit(series, 1, 3), tell(1, 3)),
        lambda: rebuild(series),
        lambda: tell(record(series, 4), 4),
    ]
    for step in steps:
        try:
            step()
        except ProblemsFound as found:
            tell(0, str(found))
        except OSError:  # the editor of the step `edit`, which is no part of the store
            pass


def total(tmp_path):
    with pytest.MonkeyPatch.context() as patch:
        disk = Disk(patch)
        work(bench_series(tmp_path), lambda *_: None)
    return disk.count


@pytest.mark.parametrize(("error", "for_good"), [(errno.ENOSPC, False), (errno.EIO, True)])
def test_whatever_call_fails_nothing_acknowledged_is_lost(tmp_path, error, for_good):
    (tmp_path / "whole").mkdir()
    calls = total(tmp_path / "whole")
    assert calls > 30
    acknowledged_in_all = 0
    for n in range(1, calls + 1):
        folder = tmp_path / str(n)
        folder.mkdir()
        series, acknowledged = bench_series(folder), {}
        with pytest.MonkeyPatch.context() as patch:
            Disk(patch, n, for_good, error)
            work(series, acknowledged.__setitem__)
        assert "\n" not in acknowledged.pop(0, ""), f"call {n}"
        log, _ = opened(series)
        assert not missing(log, acknowledged), f"call {n}"
        assert not [name for name in snapshot(folder) if name.endswith(".part")], f"call {n}"
        record(series, 9)
        acknowledged_in_all += len(acknowledged)
    assert acknowledged_in_all >= calls / 2


def test_a_record_that_fails_before_it_is_safe_changes_nothing(tmp_path):
    series = bench_series(tmp_path)
    record(series, 1)
    before = snapshot(tmp_path)
    n, failed = 0, 0
    while True:
        n += 1
        with pytest.MonkeyPatch.context() as patch:
            Disk(patch, n)
            with pytest.raises(ProblemsFound) as found:
                correct(series, 1, 2)
        if "is safe in journal.jsonl" in str(found.value):
            break
        failed += 1
        assert snapshot(tmp_path) == before, f"call {n}: {found.value}"
    assert failed >= 5
    assert read_log(series).entries[0].circumstances["humidity"] == 2


@contextmanager
def largest_file(size):
    """No file may grow past `size`: what a full disk answers, from the system itself."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_disk_that_is_really_full_is_said_and_nothing_is_lost(tmp_path):
    series = bench_series(tmp_path)
    done, said = 0, []
    with largest_file(4096):
        for value in range(1, 40):
            before = snapshot(tmp_path)
            try:
                record(series, value)
            except ProblemsFound as found:
                said.append(str(found))
                if "is safe in" not in said[-1]:
                    break
            done = value
    assert snapshot(tmp_path) == before
    assert all("make room on the disk" in line for line in said)
    assert 3 < done < 39
    assert len(read_log(series).entries) == done
    assert record(series, 99) == done + 1


def test_a_folder_that_may_not_be_written_is_read_and_said(tmp_path, monkeypatch):
    series = bench_series(tmp_path)
    record(series, 1)
    before = snapshot(tmp_path)

    def refused(path, flags, *args, **kwargs):
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return real(path, flags, *args, **kwargs)

    real = os.open
    monkeypatch.setattr(os, "open", refused)
    assert read_log(series).melt_numbers == {1}
    assert settle(series).lines(series) == ()
    assert len(history(series)) == 1
    for act in (lambda: record(series, 2), lambda: undo(series), lambda: rebuild(series), lambda: replan(series, 1)):
        with pytest.raises(ProblemsFound, match=r"cannot be locked for writing \(Permission denied\).*writable"):
            act()
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize("name", ["log.csv", "plan.csv", "journal.jsonl"])
def test_a_file_cut_off_anywhere_is_named_or_harmless_and_nothing_is_lost(tmp_path, name):
    series = bench_series(tmp_path)
    write_plan(series, bench_plan(series))
    record_melt(series, 1, seen=SPILLED, note="cold pour")
    record_melt(series, 2, seen={"contained": "yes", "fill": 61.5}, note="1234")
    files = snapshot(tmp_path)
    for length in range(0, len(files[name]), 13):
        for file, content in files.items():
            (tmp_path / file).write_bytes(content)
        (tmp_path / name).write_bytes(files[name][:length])
        before = snapshot(tmp_path)
        try:
            settle(series)
        except ProblemsFound:
            assert snapshot(tmp_path) == before
            rebuild(series)
        assert [entry.melt for entry in read_log(series).entries] == [1, 2], length
        assert read_log(series).entries[1].seen["fill"] == 61.5
        if name == "plan.csv" and length:
            try:
                read_plan(series)
            except ProblemsFound:
                rebuild(series)
                assert (tmp_path / "plan.csv").read_bytes() == files["plan.csv"]
                assert files["plan.csv"][:length] in snapshot(tmp_path).values()
        for extra in set(snapshot(tmp_path)) - set(files):
            (tmp_path / extra).unlink()


def test_a_clock_that_goes_backwards_does_no_harm(tmp_path, monkeypatch):
    series = bench_series(tmp_path)
    times = iter(f"{2030 - i}-01-01T12:00:00+02:00" for i in range(20))
    monkeypatch.setattr(journal, "_now", lambda: next(times))
    record(series, 1)
    correct(series, 1, 2)
    edit(series, 1, 3)
    remove_melt(series, 1, "by mistake")
    undo(series)
    assert read_log(series).entries[0].circumstances["humidity"] == 3
    assert [event.number for event in read_journal(tmp_path / "journal.jsonl").events] == [1, 2, 3, 4, 5]
    assert [line.split()[1] for line in history(series)] == [f"{2030 - i}-01-01" for i in range(5)]


def test_a_lock_that_another_process_holds_is_said(tmp_path, monkeypatch):
    code = "import sys; from pathlib import Path; from meltdoe.files.disk.lock import locked\n"
    code += "with locked(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONPATH": str(Path(journal.__file__).parents[3])},
    ) as other:  # fmt: skip
        assert other.stdout.readline() == "held\n"
        monkeypatch.setattr("meltdoe.files.store.recording.locked", lambda folder: locked(folder, seconds=0))
        with pytest.raises(ProblemsFound, match=r"another process holds it.*nothing was changed"):
            record_melt(bench_series(tmp_path), settings=settings(), seen=SPILLED)
        other.stdin.close()
    assert record_melt(bench_series(tmp_path), settings=settings(), seen=SPILLED).melt == 1
