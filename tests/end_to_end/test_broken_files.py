"""Broken files through the real commands: exit code 1, clear lines on standard error, nothing changed on disk."""

import hashlib
import json
import re
import shutil

import pytest
from made_block import SERIES_FILE, made_block
from running import called, on_disk, started

OF_THE_SERIES = ("check", "options", "plan", "sheets", "record", "log", "analyse", "next", "rehearse", "report")
OF_THE_LOG = ("check", "plan", "sheets", "record", "log", "analyse", "next", "rehearse", "report")
OF_THE_PLAN = ("check", "sheets", "report")
MORE_WORDS = {"analyse": ("--no-figures",), "record": ("--melt", "9", "--seen", "contained=no")}

XLSX = b"PK\x03\x04\x14\x00\x06\x00\x08\x00\x00\x00!\x00" + bytes(range(256))
JUNK = bytes(range(1, 256)) * 4


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return made_block(tmp_path_factory.mktemp("made") / "block")


@pytest.fixture
def folder(made, tmp_path):
    """A copy that may be broken."""
    copy = tmp_path / "block"
    shutil.copytree(made, copy)
    return copy


def swapped(old, new):
    """A mender that puts one text in the place of another, which must be there."""

    def mend(content):
        assert old.encode() in content, old
        return content.replace(old.encode(), new.encode(), 1)

    return mend


def line_changed(number, change):
    """A mender of one line, counted from 1; None takes the line out."""

    def mend(content):
        lines = content.decode().splitlines(keepends=True)
        return "".join([*lines[: number - 1], change(lines[number - 1]) or "", *lines[number:]]).encode()

    return mend


def whole(content):
    """A mender that puts something else in the place of the whole file."""
    return lambda _: content


def cells(number, **changed):
    """A mender of some cells of one line of a plain table."""

    def mend(content):
        lines = content.decode().splitlines()
        head, row = lines[0].split(","), lines[number - 1].split(",")
        for column, cell in changed.items():
            row[head.index(column)] = cell
        lines[number - 1] = ",".join(row)
        return ("\n".join(lines) + "\n").encode()

    return mend


def line_of(text):
    """The line of the whole series file where a text stands for the first time."""
    return SERIES_FILE[: SERIES_FILE.index(text)].count("\n") + 1


def misspelt(what, old, new, phrase):
    """A case of one text of the series file in the place of another, on whose line the fault must be found."""
    return what, swapped(old, new), line_of(old), phrase


# what is broken, how, the line that must be named (None where there is none), a phrase of what is said
SERIES = (
    ("empty", whole(b""), 1, '"title" is missing'),
    ("not text at all", whole(JUNK), 2, "UTF-8"),
    ("saved as UTF-16", lambda content: content.decode().encode("utf-16"), 1, "UTF-8"),
    ("a workbook under its name", whole(XLSX), None, "UTF-8"),
    misspelt("quotation mark forgotten", 'currency = "EUR"', 'currency = "EUR', "never closed"),
    misspelt("equals sign forgotten", "melts = 16", "melts 16", 'no "="'),
    misspelt("decimal comma", "money = 700.0", "money = 700,0", "decimal point"),
    misspelt("a key misspelt", "melts = 16", "metls = 16", '"melts"'),
    misspelt("a block misspelt", "[[circumstance]]", "[[circumstances]]", '"circumstance"'),
    misspelt("low above high", "low = 1100", "low = 1300", "swap"),
    misspelt("number where text belongs", 'unit = "°C"', "unit = 3", "quotation marks"),
    misspelt("a limit on a factor that is not there", 'keep = "2 * flux', 'keep = "2 * flax', '"flux"'),
    misspelt("a limit that calls a function", "2 * flux + 0.1", "__import__('os').getcwd() + 0.1", "factor names"),
    misspelt("a limit that rules out everything", "<= 170", "<= 17", "rules out every setting"),
    misspelt("an outcome after one that is not there", 'after = "poured"', 'after = "pored"', '"poured"'),
    misspelt("two factors of one name", 'name = "flux"', 'name = "peak"', "already"),
    misspelt("a good grade that is no grade", 'good = ["none", "hairline"]', 'good = ["nine"]', '"none"'),
    misspelt("a unit that is not known", '"1280 °C"', '"1280 °X"', "°C"),
    misspelt("a factor without options", 'options = ["coarse", "fine"]', "options = []", "at least 2"),
    misspelt("a belief in certainty", "chance = 0.7", "chance = 1.0", "between 0 and 1"),
)

PLAN = (
    ("empty", whole(b""), None, "empty"),
    ("not text at all", whole(JUNK), None, "plan.csv"),
    ("saved as a workbook", whole(XLSX), None, "CSV"),
    ("a column taken out", swapped("grain", "corn"), 1, '"grain"'),
    ("a column twice", swapped("grain", "flux"), 1, "twice"),
    ("a quotation mark never closed", line_changed(3, lambda line: '"' + line), 3, "quotation mark"),
    ("more cells than headings", line_changed(3, lambda line: line.rstrip() + ",x,y\n"), 3, "cells under"),
    ("one melt twice", cells(4, melt="2"), 4, "already in line 3"),
    ("one place in the order twice", cells(4, order="2"), 4, "already in line 3"),
    ("a melt that is no number", cells(3, melt="two"), 3, "melt:"),
    ("a melt and a half", cells(3, melt="2.5"), 3, "melt:"),
    ("a melt below one", cells(3, melt="-2"), 3, "melt:"),
    ("a setting left blank", cells(3, flux=""), 3, "flux"),
    ("a setting that is no number", cells(3, flux="much"), 3, "flux:"),
    ("a setting in an impossible unit", cells(3, flux="12 °C"), 3, "flux"),
    ("outside the range", cells(10, flux="40"), 10, "outside its range"),
    ("an option that is none", cells(10, grain="dusty"), 10, "none of its"),
    ("beyond a limit", cells(10, flux="26", peak="1240"), 10, "breaks the limit"),
    ("too many in a firing", cells(10, firing="4"), 10, "the kiln takes 2"),
    ("unlike in one firing", cells(11, peak="1110"), 11, "firing 5 is set to"),
)

LOG = (
    ("not text at all", whole(JUNK), None, "log.csv"),
    ("saved as a workbook", whole(XLSX), None, "CSV"),
    ("zeros in it", swapped("fine", "fi\0ne"), None, "text table"),
    ("a heading misspelt", swapped("poured", "pured"), 1, '"poured"'),
    ("a heading twice", swapped("poured", "contained"), 1, "twice"),
    ("a quotation mark never closed", line_changed(5, lambda line: line.rstrip() + '"cold\n'), 5, "quotation"),
    ("more cells than headings", line_changed(7, lambda line: line.rstrip() + ",x,y\n"), 7, "cells under"),
    ("one melt twice", cells(7, melt="5"), 7, "already in line 6"),
    ("a word that is no answer", cells(6, contained="perhaps"), 6, "contained says"),
    ("a grade that is none", cells(7, cracks="tiny"), 7, "none of its words"),
    ("more than full", cells(7, fill="180"), 7, "cannot be"),
    ("an outcome that cannot have been seen", cells(6, fill="80"), 6, "poured was no"),
    ("an outcome left blank", cells(7, fill=""), 7, "leaves fill blank"),
    ("a day that does not exist", cells(6, date="2026-02-30"), 6, "date"),
    ("a setting left blank", cells(6, flux=""), 6, "flux"),
    ("a setting that is no number", cells(6, flux="much"), 6, "flux:"),
    ("a setting in an impossible unit", cells(6, flux="8 °C"), 6, "flux"),
    ("a row taken out", line_changed(8, lambda line: None), None, "no longer in this file"),
)  # fmt: skip


def chained(change):
    """A mender of the journal's events that keeps their checks right, as a clumsy program might."""

    def mend(content):
        events = [json.loads(line) for line in content.splitlines()]
        change(events)
        before, lines = "0" * 64, []
        for event in events:
            event.pop("check")
            text = json.dumps(event, ensure_ascii=False, separators=(",", ":"))[:-1]
            before = hashlib.sha256((before + text).encode()).hexdigest()
            lines.append(f'{text},"check":"{before}"}}\n')
        return "".join(lines).encode()

    return mend


def event_set(number, **values):
    return chained(lambda events: events[number - 1].update(values))


JOURNAL = (
    ("one digit changed", line_changed(3, lambda line: line.replace('"peak":1247', '"peak":1248')), 3, "check"),
    ("a line taken out", line_changed(3, lambda line: None), 3, "missing"),
    ("a line put in twice", line_changed(3, lambda line: line + line), 4, "check"),
    ("an empty line put in", line_changed(3, lambda line: line + "\n"), 4, "check"),
    ("the check cut off", line_changed(2, lambda line: line.split(',"check"')[0] + "}\n"), 2, "check"),
    ("not text at all", whole(JUNK), 1, "journal.jsonl"),
    ("written by a newer program", event_set(3, format=99), 3, "newer"),
    ("of a kind that is not known", event_set(3, kind="blessing"), 3, "kind"),
    ("a record without rows", event_set(3, data={}), 3, "cannot be understood"),
    ("a record whose row has no melt", event_set(3, data={"rows": [{"flux": 20}]}), 3, "cannot be understood"),
    ("a record that is no table", event_set(3, data=[1, 2]), 3, "cannot be understood"),
)

TABLE = "melt,date,peak,flux,grain,contained,poured,fill,cracks,note\n"
ROW = "21,2026-10-10,1200,20,fine,yes,yes,97,none,ok\n"
TWICE = ("--column", "note=fill", "--column", "cracks=fill")
IMPORTED = (
    ("empty", b"", (), None, "empty"),
    ("headings only", TABLE.encode(), (), None, "no row"),
    ("not text at all", JUNK, (), None, "notes.csv"),
    ("a workbook", XLSX, (), None, "CSV"),
    ("no outcome in it", b"melt,peak\n1,1200\n", (), 1, "no heading stands for an outcome"),
    ("a heading twice", (TABLE.replace("note", "cracks") + ROW).encode(), (), 1, "twice"),
    ("more cells than headings", (TABLE + ROW.replace("ok", "ok,x,y")).encode(), (), 2, "cells under"),
    ("a quotation mark never closed", (TABLE + ROW + '"22' + ROW[2:]).encode(), (), 3, "quotation mark"),
    ("a word that is no answer", (TABLE + ROW.replace("yes,yes", "yes,maybe")).encode(), (), 2, "poured says"),
    ("more than full", (TABLE + ROW.replace("97", "970")).encode(), (), 2, "cannot be"),
    ("an outcome that cannot be", (TABLE + ROW.replace("yes,yes", "no,")).encode(), (), 2, "cannot be"),
    ("an outcome left blank", (TABLE + ROW.replace("97", "")).encode(), (), 2, "leaves fill blank"),
    ("a setting left blank", (TABLE + ROW.replace("1200", "")).encode(), (), 2, "peak"),
    ("one melt twice", (TABLE + ROW + ROW).encode(), (), 3, "already in line 2"),
    ("against what is on record", (TABLE + ROW.replace("21,", "6,").replace("97", "90")).encode(), (), 2, "on record"),
    ("a heading that is not there", (TABLE + ROW).encode(), ("--column", "Melt no=melt"), 1, "no heading"),
    ("a column that is not there", (TABLE + ROW).encode(), ("--column", "note=remark"), 1, "no column"),
    ("two headings for one column", (TABLE + ROW).encode(), TWICE, 1, "two headings"),
)  # fmt: skip


def said_clearly(ran, file, line, phrase, code=1):
    """The exit code, every line names the file, says what is wrong and how to mend it; one of them names the line."""
    assert ran.code == code, ran
    assert ran.lines
    for one in ran.lines:
        assert re.fullmatch(rf"{re.escape(file)}(, line [1-9]\d*)?: \S.*; \S.*", one), one
        assert len(one) < 600, one
        assert one.isprintable(), one
    assert "Traceback" not in ran.err
    assert "fault of the program" not in ran.err
    assert len(set(ran.lines)) == len(ran.lines), "one fault is said once"
    if line is not None:
        assert any(one.startswith(f"{file}, line {line}:") for one in ran.lines), ran.err
    assert phrase in ran.err, ran.err


def refused(folder, command, file, line, phrase):
    """The command refuses, says so clearly and leaves everything as it was."""
    before = on_disk(folder)
    ran = called(command, folder, *MORE_WORDS.get(command, ()))
    said_clearly(ran, file, line, phrase)
    unread = "Not checked yet, since series.toml comes first: plan.csv and log.csv.\n"
    assert ran.out == (unread if (command, file) == ("check", "series.toml") else "")
    assert on_disk(folder) == before


def broken(folder, name, mend):
    path = folder / name
    path.write_bytes(mend(path.read_bytes()))


def each(catalogue, commands):
    """Every case with `check` and, in turn, one of the other commands."""
    others = [command for command in commands if command != "check"]
    return [
        pytest.param(command, *case[1:], id=f"{case[0]} - {command}")
        for i, case in enumerate(catalogue)
        for command in ("check", others[i % len(others)])
    ]


@pytest.mark.parametrize(("command", "mend", "line", "phrase"), each(SERIES, OF_THE_SERIES))
def test_a_broken_series_file(folder, command, mend, line, phrase):
    broken(folder, "series.toml", mend)
    refused(folder, command, "series.toml", line, phrase)


@pytest.mark.parametrize(("command", "mend", "line", "phrase"), each(PLAN, OF_THE_PLAN))
def test_a_broken_plan(folder, command, mend, line, phrase):
    broken(folder, "plan.csv", mend)
    refused(folder, command, "plan.csv", line, phrase)


@pytest.mark.parametrize(("command", "mend", "line", "phrase"), each(LOG, OF_THE_LOG))
def test_a_broken_log(folder, command, mend, line, phrase):
    broken(folder, "log.csv", mend)
    refused(folder, command, "log.csv", line, phrase)


@pytest.mark.parametrize(("command", "mend", "line", "phrase"), each(JOURNAL, OF_THE_LOG))
def test_a_broken_journal(folder, command, mend, line, phrase):
    broken(folder, "journal.jsonl", mend)
    refused(folder, command, "journal.jsonl", line, phrase)


@pytest.mark.parametrize(("content", "words", "line", "phrase"), [pytest.param(*c[1:], id=c[0]) for c in IMPORTED])
def test_a_table_that_cannot_be_brought_in(folder, content, words, line, phrase):
    table = folder.parent / "notes.csv"
    table.write_bytes(content)
    before = on_disk(folder.parent)
    for more in ((), ("--preview",)):
        ran = called("record", folder, "--from", table, *words, *more)
        said_clearly(ran, *(("meltdoe", None, phrase, 2) if words else ("notes.csv", line, phrase)))
        assert on_disk(folder.parent) == before


def test_an_old_copy_saved_over_the_log_is_asked_about(folder):
    old = (folder / "log.csv").read_bytes()
    assert called("record", folder, "--melt", 6, "--seen", "fill=99", "--correct").code == 0
    (folder / "log.csv").write_bytes(swapped("1200,20", "1200,21")(old))
    for command in ("check", "next", "record"):
        refused(folder, command, "log.csv", 7, 'was replaced by "99"')


def test_a_melt_that_was_taken_out_does_not_come_back_by_itself(folder):
    old = (folder / "log.csv").read_bytes()
    assert called("record", folder, "--remove", "--melt", 3, "--reason", "another glass").code == 0
    (folder / "log.csv").write_bytes(old + b"9,5,,1200,20,coarse,no,,,,,\n")
    refused(folder, "log", "log.csv", 4, "taken out")


@pytest.mark.parametrize("name", ["series.toml", "plan.csv", "log.csv", "journal.jsonl"])
def test_a_folder_under_the_name_of_a_file(folder, name):
    (folder / name).unlink()
    (folder / name).mkdir()
    before = on_disk(folder)
    for command in ("check", "sheets"):
        ran = called(command, folder)
        said_clearly(ran, name, None, name)
        assert on_disk(folder) == before


def test_a_folder_that_holds_no_series_or_is_none(tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "file.txt").write_text("x", encoding="utf-8")
    before = on_disk(tmp_path)
    for command in OF_THE_SERIES:
        for name, blamed in (("empty", "series.toml"), ("nowhere", None), ("file.txt", None)):
            ran = called(command, tmp_path / name, *MORE_WORDS.get(command, ()))
            said_clearly(ran, blamed or str(tmp_path / name), None, "folder")
    assert on_disk(tmp_path) == before


def test_without_a_plan_the_sheets_say_so(folder):
    (folder / "plan.csv").unlink()
    refused(folder, "sheets", "plan.csv", None, "does not exist")


def test_every_problem_is_listed_at_once_also_as_json(folder):
    broken(folder, "plan.csv", cells(3, flux="much"))
    broken(folder, "log.csv", cells(6, contained="perhaps", date="2026-02-30"))
    ran = called("check", folder, "--json")
    assert ran.code == 1
    problems = json.loads(ran.out)["problems"]
    assert [(problem["file"], problem["line"]) for problem in problems] == [
        ("plan.csv", 3),
        ("log.csv", 6),
        ("log.csv", 6),
    ]
    assert all(problem["what"] and problem["mend"] for problem in problems)
    assert len(called("check", folder).lines) == 3


@pytest.mark.parametrize(
    ("name", "mend", "words"),
    [
        ("series.toml", SERIES[4][1], ("next", "--json")),
        ("plan.csv", PLAN[10][1], ("sheets", "--json")),
        ("log.csv", LOG[8][1], ("analyse", "--json")),
        ("journal.jsonl", JOURNAL[0][1], ("record", "--melt", "9", "--seen", "contained=no", "--json")),
    ],
)
def test_the_program_itself_says_the_same(folder, name, mend, words):
    broken(folder, name, mend)
    before = on_disk(folder)
    ran = started(*words, cwd=folder)
    said_clearly(ran, name, None, name)
    assert ran.out == "", "no half a document where there is a problem"
    assert on_disk(folder) == before
