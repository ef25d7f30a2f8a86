"""Run as a program: records melts in processes that are killed, or in several at once, and reports what is missing.

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

from meltdoe.files.journal import read_journal
from meltdoe.files.log_csv import read_log, settle
from meltdoe.files.recording import record_melt


def record_and_say(series, pipe, records):
    """Record melts and acknowledge each one only when it is durable."""
    for _ in range(records):
        result = record_melt(series, settings=settings(), seen=SPILLED, note="x" * 200)
        os.write(pipe, f"{result.melt}\n".encode())


def started(series, records):
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        record_and_say(series, writing, records)
        os._exit(0)
    os.close(writing)
    return child, reading


def said(pipe):
    with os.fdopen(pipe) as lines:
        return [int(line) for line in lines if line.endswith("\n")]


def kill(folder, times):
    series = bench_series(folder)
    chance = random.Random(20261125)
    acknowledged = set()
    for i in range(times):
        child, pipe = started(series, 10_000)
        if i % 2:  # every other child is let live until it has recorded something
            select.select([pipe], [], [])
        select.select([], [], [], chance.uniform(0.001, 0.05))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        acknowledged |= set(said(pipe))
        missing = acknowledged - read_log(series).melt_numbers
        if missing:
            sys.exit(f"missing: {sorted(missing)}")
    settle(series)
    remembered = {entry.melt for entry in read_log(series).entries}
    record_melt(series, settings=settings(), seen=SPILLED)
    if not remembered < read_log(series).melt_numbers:
        sys.exit("a record after the last kill lost an earlier one")
    print(len(acknowledged))


def crowd(folder, processes, records):
    series = bench_series(folder)
    children = [started(series, records) for _ in range(processes)]
    acknowledged = [melt for _, pipe in children for melt in said(pipe)]
    if any(os.waitpid(child, 0)[1] for child, _ in children):
        sys.exit("a process failed")
    if sorted(acknowledged) != list(range(1, processes * records + 1)):
        sys.exit(f"acknowledged: {sorted(acknowledged)}")
    if read_log(series).melt_numbers != set(acknowledged):
        sys.exit("the log holds other melts than were acknowledged")
    if len(read_journal(folder / "journal.jsonl").events) != len(acknowledged):
        sys.exit("the journal holds other events than were acknowledged")
    print(len(acknowledged))


if __name__ == "__main__":
    what, place, *numbers = sys.argv[1:]
    {"kill": kill, "crowd": crowd}[what](Path(place), *map(int, numbers))
