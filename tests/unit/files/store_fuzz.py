"""Series, plan, log, journal and tables to bring in, damaged by chance, and the commands run on them.

Whatever is read, a command either does its work or says one clear line for each problem and has changed no file.
tests/unit/files/test_fuzzed_store.py takes a few hundred of these, tests/benchmarks/store_study.py many thousands.
"""

import csv
import hashlib
import io
import json
import random
import re
import zipfile
from xml.sax.saxutils import escape

from bench_series import GOOD, SPILLED, bench_plan, bench_series, settings, snapshot

from meltdoe.errors import MeltdoeError, ProblemsFound
from meltdoe.files.disk.conflict_copies import conflict_copies
from meltdoe.files.series.series_text import series_text
from meltdoe.files.series.series_toml import read_series
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.plan_csv import read_plan, write_plan
from meltdoe.files.store.recording import history, rebuild, record_melt, remove_melt, undo
from meltdoe.files.store.settling import pending, settle
from meltdoe.files.store.table_import import import_table, preview_import
from meltdoe.files.tables.log_workbook import log_workbook

TABLE = (
    "Old melts of last winter;;;;;;\r\n;Settings;;;Seen;;\r\n"
    "Nr;flux;peak;sand;contained;fill;colour\r\n;wt%;°F;;;%;\r\n"
    "11;20,5;2192;Fine;yes;later;green\r\n12;21;2192;coarse;no;;\r\n"
)
NASTY = [
    "", "0", "-1", "1e999", "nan", "inf", "=1+1", "'=1", "later", "lost", "yes", "2026-02-30", "05/11/2026", "\0",
    "\x1b[2J", "\u202e", "é½𝔊", "9" * 400, "x" * 6000, '"', "'", "a;b\tc|d", "\n=1", "None", "9" * 20, "[]", "{}",
]  # fmt: skip
VALUES = [
    None,
    True,
    [],
    {},
    -1,
    0,
    1,
    2,
    3,
    10**30,
    1e308,
    "",
    "1",
    "later",
    "x" * 6000,
    [[[]]],
    {"melt": 1},
    float("nan"),
]


def sound(folder):
    """A folder in use: series.toml, a plan, seven events, a table and a workbook to bring in; its files as bytes."""
    series = bench_series(folder)
    (folder / "series.toml").write_text(series_text(series), encoding="utf-8")
    series = read_series(folder)
    write_plan(series, bench_plan(series))
    record_melt(series, 1, seen=GOOD, note='ran; "slowly", =x', date="2026-11-25")
    record_melt(series, 2, seen={"contained": "yes", "fill": "later"}, circumstances={"humidity": "61.5", "pot": "B"})
    record_melt(series, 2, seen={"fill": 88.25})
    record_melt(series, 1, seen={"fill": 96, "cracks": "hairline"}, correct=True, reason="misread")
    record_melt(series, settings=settings(sand="-325 mesh"), seen=SPILLED)
    remove_melt(series, 5, "another charge")
    undo(series)
    (folder / "old.csv").write_text(TABLE, encoding="utf-8")
    (folder / "old.xlsx").write_bytes(log_workbook(series, read_log(series)))
    return snapshot(folder)


def damaged(content, chance):
    """A byte, a stretch, a repeat, a cut, a nasty insertion."""
    data = bytearray(content)
    for _ in range(chance.randint(1, 3)):
        i = chance.randrange(len(data) + 1)
        j = min(len(data), i + chance.randint(0, 40))
        way = chance.randrange(6)
        if way == 0 and i < len(data):
            data[i] = chance.randrange(256)
        elif way == 1:
            del data[i:j]
        elif way == 2:
            data[i:i] = data[i:j]
        elif way == 3:
            data[i:i] = bytes(chance.randrange(256) for _ in range(chance.randint(1, 8)))
        elif way == 4:
            del data[i:]
        else:
            data[i:i] = chance.choice(NASTY).encode()
    return bytes(data)


def forged_journal(content, chance):
    """A journal that says something else and has sound checks: what a stranger can make."""
    lines = [json.loads(line) for line in content.splitlines()]
    for _ in range(chance.randint(1, 3)):
        line = chance.choice(lines)
        _swap_value(line["data"] if chance.random() < 0.8 and line.get("data") else line, chance)
    if chance.random() < 0.2:
        lines.insert(chance.randrange(len(lines) + 1), chance.choice(lines))
    if chance.random() < 0.8:
        for number, line in enumerate(lines, start=1):
            line["number"] = number
    check, out = "0" * 64, b""
    for line in lines:
        line = {name: value for name, value in line.items() if name != "check"}
        text = json.dumps(line, ensure_ascii=False, separators=(",", ":"))[:-1].encode()
        check = hashlib.sha256(check.encode() + text).hexdigest()
        out += text + f',"check":"{check}"}}\n'.encode()
    return out


def _swap_value(at, chance):
    """Put a nasty value somewhere below, or take something out."""
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        if not keys:
            return
        key = chance.choice(keys)
        if isinstance(at[key], (dict, list)) and at[key] and chance.random() < 0.8:
            at = at[key]
            continue
        if chance.random() < 0.2:
            del at[key]
        else:
            at[key] = chance.choice(VALUES + NASTY)
        return


def other_cells(content, chance):
    """A table with a few nasty cells, whole again as CSV."""
    text = content.decode("utf-8")
    separator = ";" if text.startswith("Old") else ","
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    for _ in range(chance.randint(1, 3)):
        row = chance.choice(rows)
        row[chance.randrange(len(row))] = chance.choice([*NASTY, "1", "2", "61", "97.5", "97,5"])
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows(rows)
    return out.getvalue().encode("utf-8", "replace")


def other_parts(content, chance):
    """A workbook whose parts are damaged inside a whole archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        names = old.namelist()
        hit = chance.choice([name for name in names if "sheet1" in name or "Strings" in name or "styles" in name])
        for name in names:
            data = old.read(name)
            if name == hit:
                data = damaged(data, chance) if chance.random() < 0.2 else _other_values(data.decode(), chance).encode()
            new.writestr(name, data)
    return out.getvalue()


def _other_values(text, chance):
    """XML with a few other numbers, references, types and texts in it."""
    places = list(re.finditer(r'(?<=[ :](?:r|s|t)=")[^"]*|(?<=<v>)[^<]*|(?<=<t>)[^<]*|(?<=numFmtId=")[^"]*', text))
    for place in sorted(chance.sample(places, min(3, len(places))), key=lambda place: -place.start()):
        new = chance.choice([*NASTY, "A1", "XFD1048576", "B2", "s", "e", "b", "str", "d", "2", "9", "0.975", "46000"])
        text = (
            text[: place.start()] + escape("".join(c for c in new if c.isprintable()), {'"': ""}) + text[place.end() :]
        )
    return text


WAYS = [
    ("series.toml", damaged), ("plan.csv", damaged), ("plan.csv", other_cells), ("log.csv", damaged),
    ("log.csv", other_cells), ("journal.jsonl", damaged), ("journal.jsonl", forged_journal), ("old.csv", damaged),
    ("old.csv", other_cells), ("old.xlsx", damaged), ("old.xlsx", other_parts),
]  # fmt: skip


def check(folder, series):
    """As the command: every problem is found, none is raised, nothing is written."""
    list(conflict_copies(folder))
    pending(series)
    read_plan(series)


COMMANDS = {
    "check": check,
    "log": lambda folder, series: (settle(series), history(series)),
    "record": lambda folder, series: record_melt(series, 3, seen=SPILLED),
    "correct": lambda folder, series: record_melt(series, 1, seen={"fill": 97}, correct=True),
    "remove": lambda folder, series: remove_melt(series, 2, "by chance"),
    "undo": lambda folder, series: undo(series),
    "rebuild": lambda folder, series: rebuild(series),
    "plan": lambda folder, series: write_plan(series, bench_plan(series, 2, 21, 11)),
    "preview": lambda folder, series: preview_import(series, folder / "old.csv"),
    "import": lambda folder, series: import_table(series, folder / "old.csv"),
    "import of a workbook": lambda folder, series: import_table(series, folder / "old.xlsx"),
}
OF_TABLES = {"old.csv": ["preview", "import"], "old.xlsx": ["import of a workbook"]}


def fuzz(folder, files, seed):
    """One damage and one command; returns how it ended: "done" or "said".

    Raises
    ------
    AssertionError
        Where something else than problems was raised, a problem takes several lines, or a file was changed.
    """
    chance = random.Random(seed)
    name, way = chance.choice(WAYS)
    command = chance.choice(OF_TABLES.get(name) or [word for word in COMMANDS if "import" not in word] + ["import"])
    for path in folder.iterdir():
        if path.name not in files:
            path.unlink()
    for file, content in files.items():
        (folder / file).write_bytes(content)
    (folder / name).write_bytes(way(files[name], chance))
    before = snapshot(folder)
    case = f"seed {seed}: {way.__name__} {name}, {command}"
    try:
        COMMANDS[command](folder, read_series(folder))
    except MeltdoeError as error:
        lines = [str(problem) for problem in error.problems] if isinstance(error, ProblemsFound) else [str(error)]
        assert all(line and "\n" not in line and len(line) < 2000 for line in lines), f"{case}: {lines}"
        assert snapshot(folder) == before, f"{case}: changed a file and then said {lines}"
        return "said"
    except Exception as error:
        raise AssertionError(f"{case}: {type(error).__name__}: {error}") from error
    if command in ("check", "preview"):
        assert snapshot(folder) == before, f"{case}: changed a file"
    return "done"
