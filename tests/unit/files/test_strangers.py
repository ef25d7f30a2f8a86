"""A series folder from a stranger: nothing outside it is touched, nothing in it runs, nothing in it is too much."""

import csv
import hashlib
import io
import json
import os
import re

import pytest
from bench_series import GOOD, SPILLED, bench_plan, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.safe_write import append_bytes, write_file
from meltdoe.files.series.series_text import series_text
from meltdoe.files.series.series_toml import check_series, read_series
from meltdoe.files.store import journal as journal_module
from meltdoe.files.store.journal import read_journal
from meltdoe.files.store.log_csv import check_log, log_text, read_log
from meltdoe.files.store.plan_csv import read_plan, write_plan
from meltdoe.files.store.recording import history, record_melt
from meltdoe.files.tables.csv_table import parse_table, table_text
from meltdoe.log.entry import entry_row


@pytest.fixture
def folder(tmp_path):
    """A folder in use, and beside it a file that is nobody's business."""
    (tmp_path / "private.txt").write_text("nobody's business\n")
    (tmp_path / "elsewhere").mkdir()
    folder = tmp_path / "series"
    folder.mkdir()
    series = bench_series(folder)
    (folder / "series.toml").write_text(series_text(series), encoding="utf-8")
    write_plan(series, bench_plan(series))
    record_melt(series, 1, seen=GOOD)
    return folder


NAMES = ["series.toml", "plan.csv", "log.csv", "journal.jsonl", ".lock", "report.html", "sheets.html", "figures"]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("target", ["../private.txt", "../elsewhere", "../not-there", "/etc/hostname"])
def test_a_link_out_of_the_folder_is_refused_in_one_line(folder, name, target):
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to(target)
    series, problems = check_series(folder)
    assert series is None
    (problem,) = problems
    assert problem.file == name
    assert f'is a link to "{target}", outside the folder' in problem.what
    if name not in ("report.html", "sheets.html", "figures"):  # these are written by way of the series file alone
        with pytest.raises(ProblemsFound, match="outside the folder"):
            record_melt(bench_series(folder), 2, seen=SPILLED)
    assert (folder.parent / "private.txt").read_text() == "nobody's business\n"
    assert list((folder.parent / "elsewhere").iterdir()) == []
    assert not (folder.parent / "not-there").exists()


@pytest.mark.parametrize("write", [write_file, append_bytes])
def test_no_writing_follows_a_link_out_of_the_folder(folder, write):
    (folder / "figures").mkdir()
    (folder / "figures" / "flux.svg").symlink_to(folder.parent / "private.txt")
    with pytest.raises(ProblemsFound, match="outside the folder"):
        write(folder / "figures" / "flux.svg", b"overwritten")
    assert (folder.parent / "private.txt").read_text() == "nobody's business\n"


def test_reading_follows_no_link_either(folder):
    for name, read in (("log.csv", read_log), ("plan.csv", read_plan), ("journal.jsonl", history)):
        (folder / name).unlink()
        (folder / name).symlink_to("../private.txt")
        with pytest.raises(ProblemsFound, match="outside the folder") as found:
            read(bench_series(folder))
        assert "business" not in str(found.value)


@pytest.mark.parametrize("name", ["series.toml", "plan.csv", "log.csv", "journal.jsonl"])
def test_a_pipe_in_place_of_a_file_does_not_hang(folder, name):
    (folder / name).unlink()
    os.mkfifo(folder / name)
    with pytest.raises(ProblemsFound, match="no ordinary file"):
        read_plan(read_series(folder)) if name == "plan.csv" else read_log(read_series(folder))


def test_a_link_within_the_folder_is_no_harm(folder):
    (folder / "log.csv").rename(folder / "real.csv")
    (folder / "log.csv").symlink_to("real.csv")
    record_melt(read_series(folder), 2, seen=SPILLED)
    assert (folder / "log.csv").is_symlink()
    assert len(read_log(read_series(folder)).entries) == 2


def sealed(*texts):
    """Lines with sound checks: what a stranger can make."""
    check, out = "0" * 64, b""
    for text in texts:
        check = hashlib.sha256(check.encode() + text[:-1]).hexdigest()
        out += text[:-1] + f',"check":"{check}"}}\n'.encode()
    return out


def event(**changes):
    content = {"format": 1, "number": 1, "time": "2026-11-25T12:00:00+01:00", "kind": "record", "data": {"rows": []}}
    return json.dumps(content | changes, separators=(",", ":")).encode()


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b'{"format":1,"data":' + b"[" * 100_000 + b"]" * 100_000 + b"}", "it is no event"),
        (b'{"format":1,"number":' + b"9" * 5000 + b"}", "it is no event"),
        (b'{"format":1,"number":"\xff"}', "it is no event"),
        (event(number=2), "it is not event 1"),
        (event(number=True), "it is not event 1"),
        (event(time="soon"), "it has no time"),
        (event(kind="run"), "no known kind"),
        (event(kind=["record"]), "no known kind"),
        (event(data=[]), "it holds no data"),
        (event(data={"rows": [{"melt": 1, "note": None}]}), 'no sound "rows"'),
        (event(data={"rows": [{"melt": 1, "fill": float("nan")}]}), 'no sound "rows"'),
        (event(data={"rows": [{"melt": 10**9}]}), 'no sound "rows"'),
        (event(kind="plan", data={"melts": []}), 'no sound "design"'),
        (event(kind="undo", data={"event": 1}), "takes back event 1, which is not the last change in force"),
        (event(kind="undo", data={"event": 0}), 'no sound "event"'),
    ],
    ids=str,
)
def test_a_forged_event_is_one_line_and_no_traceback(folder, line, said):
    (folder / "journal.jsonl").write_bytes(sealed(line))
    _, problems = check_log(bench_series(folder))
    (problem,) = problems
    assert said in problem.what
    assert problem.line == 1


def test_a_journal_may_hold_so_much_and_no_more(folder, monkeypatch):
    path = folder / "journal.jsonl"
    path.write_bytes(b"x" * 30_000_001)
    with pytest.raises(ProblemsFound, match="larger than 30 MB"):
        read_journal(path)
    path.write_bytes(b"\n" * 15_001)
    with pytest.raises(ProblemsFound, match="more than 10000 events"):
        read_journal(path)
    path.unlink()
    (folder / "log.csv").unlink()
    monkeypatch.setattr(journal_module, "_MOST_EVENTS", 2)
    series = bench_series(folder)
    for _ in range(2):
        record_melt(series, settings=settings(), seen=SPILLED)
    before = snapshot(folder)
    with pytest.raises(ProblemsFound, match=r"is full.*go on in a new series folder; nothing was changed"):
        record_melt(series, settings=settings(), seen=SPILLED)
    assert snapshot(folder) == before
    assert len(read_log(series).entries) == 2


HOSTILE = [
    "=cmd|'/c calc'!A1",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\uff1d1+1",
    "calm; =1+1",
    "calm\n=1+1",
    "a|=1",
    "a\t=1",
    "'=1",
    "; '=1",
    "a;\n ;@x",
    "\x1b[2J\x1b]0;x\x07",
    "\u202egnp",
    "<script>",
    "%n%s",
    "$(x) `x`",
    "../../x",
    "_x0041_",
]


def test_hostile_text_comes_back_as_it_was_and_is_inert_under_any_separator(tmp_path):
    series = bench_series(tmp_path)
    for text in HOSTILE:
        record_melt(series, settings=settings(), seen=SPILLED, note=text, circumstances={"pot": text})
    notes = [entry.note for entry in read_log(series).entries]
    clean = [re.sub("[\x00-\x08\x0b-\x1f\u202a-\u202e\u2066-\u2069]", "", text) for text in HOSTILE]
    assert notes == clean
    content = (tmp_path / "log.csv").read_text(encoding="utf-8")
    assert content == log_text(series, [entry_row(series, entry) for entry in read_log(series).entries])
    assert not set(content) & {"\x1b", "\x07"}
    for separator in ",;\t|":
        for row in csv.reader(io.StringIO(content, newline=""), delimiter=separator):
            for cell in row:
                assert not re.match(r"\s*[=+\-@\uff0b\uff0d\uff1d\uff20]", cell), (separator, cell)
    for line in history(series):
        assert "\n" not in line


@pytest.mark.parametrize("text", [*HOSTILE, "-5 ; -6", ";;'=", "\n\n=", "a; 'b", "'", "''=1"])
def test_a_cell_made_inert_reads_back_as_it_was(text):
    kept = text.strip()
    written = table_text(("melt", "note"), [(1, kept)])
    assert parse_table(written.encode(), "log.csv").rows[0].cells == ("1", kept)


def test_a_long_text_is_shortened_where_people_read_it(tmp_path):
    series = bench_series(tmp_path)
    record_melt(series, settings=settings(), seen=SPILLED, note="x" * 5000)
    assert len(history(series)[0]) < 300
    with pytest.raises(ProblemsFound) as found:
        record_melt(series, settings={**settings(), "flux": "9" * 3000 + "x"}, seen={"contained": "y" * 3000})
    assert max(len(str(problem)) for problem in found.value.problems) < 300
