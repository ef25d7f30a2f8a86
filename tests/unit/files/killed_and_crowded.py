"""Run as a program: works in processes that are killed, or in several at once, and reports what is missing.

python killed_and_crowded.py kill FOLDER TIMES
python killed_and_crowded.py crowd FOLDER PROCESSES RECORDS
"""

import os
import random
import select
import signal
import sys
from pathlib import Path

from bench_series import SPILLED, bench_series, settings
from store_steps import correct, edit, missing, opened, record, replan

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.journal import read_journal
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.recording import rebuild, record_melt
from meltdoe.files.store.settling import settle


def record_and_say(series, pipe, records):
    """Record melts, each acknowledged only when it is durable; one that meets the lock says so and tries again."""
    left = records
    while left:
        try:
            result = record_melt(series, settings=settings(), seen=SPILLED, note="x" * 200)
        except ProblemsFound as found:
            if "another process holds it" not in str(found):
                raise
            os.write(pipe, b"waited\n")
        else:
            os.write(pipe, f"{result.melt}\n".encode())
            left -= 1


def work_and_say(series, pipe, value, chance):
    """Records and rewrites of every kind, each acknowledged with its melt and number when it is durable."""
    melt = max(read_log(series).melt_numbers, default=0)
    while True:
        value += 1
        what = chance.choice(["record", "record", "correct", "edit", "rebuild", "plan"])
        if what == "record" or not melt:
            melt = record(series, value)
        elif what == "correct":
            correct(series, melt, value)
        elif what == "edit":
            edit(series, melt, value)
        elif what == "rebuild":
            rebuild(series)
            continue
        else:
            replan(series, value)
            continue
        os.write(pipe, f"{melt} {value}\n".encode())


def started(work, *args):
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        work(args[0], writing, *args[1:])
        os._exit(0)
    os.close(writing)
    return child, reading


def said(pipe):
    with os.fdopen(pipe) as lines:
        return [line.split() for line in lines if line.endswith("\n")]


def kill(folder, times, most_melts=60):
    """Kill children at random moments; a folder that has grown to `most_melts` makes room for a new one."""
    chance = random.Random(20261125)
    acknowledged, total, repairs, folders = {}, 0, 0, 0
    series, value = bench_series(folder), 0
    for i in range(times):
        if len(acknowledged) >= most_melts:
            folders += 1
            series, acknowledged = bench_series(folder / f"series-{folders}"), {}
            series.folder.mkdir()
        child, pipe = started(work_and_say, series, value, random.Random(i))
        if i % 2:  # every other child is let live until it has done something
            select.select([pipe], [], [])
        select.select([], [], [], chance.uniform(0.001, 0.08))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        for melt, number in said(pipe):
            acknowledged[int(melt)] = value = int(number)
            total += 1
        value += 1000  # whatever the child did without saying so lies below
        log, repaired = opened(series)
        repairs += repaired
        if lost := missing(log, acknowledged):
            sys.exit(f"after kill {i + 1} missing: {lost}")
        settle(series)
        if leftovers := [path.name for path in series.folder.glob(".*.part")]:
            correct(series, record(series, value), value + 1)  # the next command that writes clears them away
            replan(series, value)
            rebuild(series)
            if any(series.folder.glob(".*.part")):
                sys.exit(f"left behind: {leftovers}")
    print(total, repairs)


def crowd(folder, processes, records):
    series = bench_series(folder)
    children = [started(record_and_say, series, records) for _ in range(processes)]
    lines = [words[0] for _, pipe in children for words in said(pipe)]
    if any(os.waitpid(child, 0)[1] for child, _ in children):
        sys.exit("a process failed")
    acknowledged = sorted(int(word) for word in lines if word != "waited")
    if acknowledged != list(range(1, processes * records + 1)):
        sys.exit(f"acknowledged: {acknowledged}")
    if read_log(series).melt_numbers != set(acknowledged):
        sys.exit("the log holds other melts than were acknowledged")
    if len(read_journal(folder / "journal.jsonl").events) != len(acknowledged):
        sys.exit("the journal holds other events than were acknowledged")
    print(len(acknowledged), lines.count("waited"))


if __name__ == "__main__":
    what, place, *numbers = sys.argv[1:]
    {"kill": kill, "crowd": crowd}[what](Path(place), *map(int, numbers))
