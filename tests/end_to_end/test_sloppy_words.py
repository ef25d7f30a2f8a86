"""Commands called sloppily: each ends as the contract says (0 done, 1 files, 2 usage), in words and without damage."""

import csv
import json
import os
import re
import shutil
import subprocess
import sys

import pytest
from made_block import made_block
from running import called, on_disk, started


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return made_block(tmp_path_factory.mktemp("made") / "block")


@pytest.fixture
def folder(made, tmp_path):
    """A copy that may be spoilt."""
    copy = tmp_path / "block"
    shutil.copytree(made, copy)
    return copy


def row(folder, melt):
    rows = csv.DictReader((folder / "log.csv").read_text(encoding="utf-8").splitlines())
    return next(row for row in rows if row["melt"] == str(melt))


NINE = ("record", "--melt", "9")
WRONG = (  # words, exit code, a phrase of what is said
    (("next", "--confirm"), 2, "--confirm goes with --add-to-plan"),
    (("record", "--melt", "1", "--correct"), 2, "nothing is said of what to correct"),
    ((*NINE, "--seen", "containd=no"), 2, 'write "contained"'),
    ((*NINE, "--seen", "zzz=no"), 2, "the names are peak, flux, grain, contained"),
    ((*NINE, "--seen", "remark=cold"), 2, "say it with --note"),
    ((*NINE, "--seen", "contained"), 2, "NAME=VALUE"),
    ((*NINE, "--seen", "=no"), 2, "NAME=VALUE"),
    ((*NINE, "--set", "flux"), 2, "NAME=VALUE"),
    ((*NINE, "--seen", "contained=no", "--seen", "contained=yes"), 2, "given twice"),
    ((*NINE, "--set", "contained=no", "--seen", "contained=yes"), 2, "given twice"),
    ((*NINE, "--seen", "contained=perhaps"), 2, "write yes, no, later or lost"),
    ((*NINE, "--seen", "contained=yes", "--seen", "poured=yes", "--seen", "fill=180"), 2, "between 0 and 100"),
    ((*NINE, "--seen", "contained=yes", "--seen", "poured=yes", "--seen", "fill=-5"), 2, "between 0 and 100"),
    ((*NINE, "--seen", "contained=yes", "--seen", "poured=yes", "--seen", "fill=80 kg"), 2, "kg"),
    ((*NINE, "--seen", "contained=yes"), 2, "leaves poured blank"),
    ((*NINE, "--seen", "poured=yes"), 2, "contained is blank"),
    (NINE, 2, "says nothing of what was seen"),
    ((*NINE, "--set", "flux=much", "--seen", "contained=no"), 2, "is not a number"),
    ((*NINE, "--set", "flux=nan", "--seen", "contained=no"), 2, "flux"),
    ((*NINE, "--set", "flux=170", "--seen", "contained=no"), 2, "write a share from 0 to 100"),
    ((*NINE, "--set", "peak=12500", "--seen", "contained=no"), 2, "a temperature that a kiln can have"),
    ((*NINE, "--set", "flux=1e400", "--seen", "contained=no"), 2, "flux"),
    ((*NINE, "--set", "peak=1200 kg", "--seen", "contained=no"), 2, "°C"),
    ((*NINE, "--set", "grain=dusty", "--seen", "contained=no"), 2, "coarse, fine"),
    ((*NINE, "--seen", "contained=no", "--date", "yesterday"), 2, "year-month-day"),
    ((*NINE, "--seen", "contained=no", "--date", "31.2.2026"), 2, "year-month-day"),
    ((*NINE, "--seen", "contained=no", "--note", "x" * 100_000), 2, "shorten it"),
    ((*NINE, "--seen", "contained=no", "--mould", "2"), 2, "mould"),
    ((*NINE, "--seen", "contained=no", "--firing", "0"), 2, "--firing"),
    (("record", "--melt", "99", "--seen", "contained=no"), 2, "not in the plan"),
    (("record", "--melt", "0", "--seen", "contained=no"), 2, "--melt"),
    (("record", "--melt", "nine", "--seen", "contained=no"), 2, "--melt"),
    (("record", "--melt", "10000000", "--seen", "contained=no"), 2, "999999"),
    (("record", "--melt", "1", "--seen", "contained=no"), 2, "--correct"),
    (("record", "--correct", "--seen", "contained=no"), 2, "--correct needs --melt"),
    (("record", "--melt", "99", "--correct", "--seen", "contained=no"), 2, "not in the log"),
    (("record", "--remove"), 2, "--remove needs --melt"),
    (("record", "--remove", "--melt", "1"), 2, "reason"),
    (("record", "--remove", "--melt", "99", "--reason", "x"), 2, "not in the log"),
    (("record", "--remove", "--undo", "--melt", "1"), 2, "cannot be given together"),
    (("record", "--undo", "--seen", "contained=no"), 2, "cannot be given together"),
    (("record", "--undo", "--melt", "3"), 2, "takes no --melt"),
    (("record", "--preview"), 2, "--from"),
    (("record", "--column", "a=b"), 2, "--from"),
    (("record", "--as-shown"), 2, "--from"),
    (("record", "--from", "nothing.csv"), 1, "does not exist"),
    (("record", "--from", "log.csv"), 1, "is the log itself"),
    (("record", "--from", "log.csv", "--column", "a"), 2, "HEADING=NAME"),
    (("record", "--nonsense"), 2, "--nonsense"),
    (("plan", "--design", "lucky"), 2, "take one of"),
    (("plan", "--melts", "0"), 2, "--melts"),
    (("plan", "--melts", "500"), 1, "budget"),
    (("plan", "--seed", "-1"), 2, "--seed"),
    (("options", "--seed", "-1"), 2, "--seed"),
    (("options", "--rehearsals", "-1"), 2, "--rehearsals"),
    (("rehearse", "--policy", "luck"), 2, "take one of plan, follow-up"),
    (("rehearse", "--series", "0"), 2, "--series"),
    (("next", "--aim", "win"), 2, "--aim"),
    (("next", "--melts", "0"), 2, "--melts"),
    (("next", "--most-risk", "101"), 2, "--most-risk"),
    (("analyse", "--level", "100"), 2, "--level"),
    (("analyse", "--level", "high"), 2, "--level"),
    (("begin", "--from", "obsidian-blok"), 2, "the examples are"),
    (("tour", "--example", "nope"), 2, "the examples are"),
    (("tour",), 1, "is not empty"),
    (("check", "elsewhere"), 2, "takes one folder"),
    (("check", "--all"), 2, 'no option "--all" behind meltdoe check'),
    (("record", "--sean", "contained=no"), 2, "write --seen"),
    (("record", "--melt"), 2, "--melt needs a value"),
    (("next", "--aim", "learning fast"), 2, 'auto, learn or reach, not "learning fast"'),
    (("next", "--most-risk", "12,5"), 2, "behind a point"),
    (("plan", "--melts", "2.5"), 2, "a whole number of at least 1"),
    (("glass", "--melt", "99"), 1, "[recipe]"),
    (("explain", "--topics"), 2, "--topics"),
    (("bake",), 2, "the commands are tour, begin"),
    (("recrod",), 2, "write meltdoe record"),
)  # fmt: skip


@pytest.mark.parametrize(("words", "code", "phrase"), WRONG, ids=[" ".join(case[0])[:60] for case in WRONG])
def test_wrong_words_end_with_the_right_code_and_change_nothing(folder, monkeypatch, words, code, phrase):
    monkeypatch.chdir(folder)
    before = on_disk(folder)
    command, *more = words
    ran = called(command, folder, *more)
    assert (ran.code, ran.out) == (code, ""), ran
    assert phrase in ran.err, ran.err
    assert "Traceback" not in ran.err
    assert "fault of the program" not in ran.err
    if code == 1:
        assert all(": " in line and "; " in line for line in ran.lines)
    else:
        assert all(line.startswith("meltdoe: ") for line in ran.lines), "no file is blamed for what was typed"
    assert on_disk(folder) == before


RIGHT = (  # words after `record --melt 9`, and what the log then says
    (("--seen", "contained=NO"), {"contained": "no"}),
    (("--seen", " contained = no "), {"contained": "no"}),
    (("--seen", "contained=n"), {"contained": "no"}),
    (("--set", "contained=no"), {"contained": "no"}),
    (("--set", "peak=2192 °F", "--seen", "contained=no"), {"peak": "1200"}),
    (("--set", "flux=20,5", "--seen", "contained=no"), {"flux": "20.5"}),
    (("--set", "flux=20.5 wt%", "--seen", "contained=no"), {"flux": "20.5"}),
    (("--seen", "contained=later"), {"contained": "later"}),
    (("--seen", "contained=lost"), {"contained": "lost"}),
    (("--seen", "contained=no", "--date", "1.9.2026"), {"date": "2026-09-01"}),
    (("--seen", "contained=no", "--note", "Kühlofen 日本 🔥"), {"note": "Kühlofen 日本 🔥"}),
    (("--seen", "contained=no", "--note", "=HYPERLINK(1)"), {"note": "'=HYPERLINK(1)"}),
    (("--seen", "contained=no", "--note", "one\ntwo\x1b[31m\ttabbed"), {"contained": "no"}),
    (("--set", "humidity=61", "--seen", "contained=no"), {"humidity": "61"}),
    (("--note", "kiln tripped, nothing melted"), {"contained": "", "note": "kiln tripped, nothing melted"}),
)  # fmt: skip


@pytest.mark.parametrize(("words", "cells"), RIGHT, ids=[" ".join(case[0])[:60] for case in RIGHT])
def test_what_a_person_means_is_put_down(folder, words, cells):
    ran = called("record", folder, "--melt", 9, *words)
    assert ran.code == 0, ran.err
    written = row(folder, 9)
    assert {column: written[column] for column in cells} == cells
    assert "\x1b" not in (folder / "log.csv").read_text(encoding="utf-8") + ran.out + ran.err
    again = called("record", folder, "--melt", 9, *words)
    assert again.code == 0, "the same words twice do no harm"
    assert called("check", folder).code == 0
    assert called("record", folder, "--undo").code == 0


def test_a_setting_outside_its_range_is_recorded_and_remarked_on(folder):
    ran = called("record", folder, "--melt", 9, "--set", "flux=45", "--seen", "contained=no")
    assert ran.code == 0
    assert "flux 45 wt% lies outside 12 to 26" in ran.err
    assert f"meltdoe record {folder} --melt 9 --correct" in ran.err
    assert called("record", folder, "--melt", 9, "--set", "flux=20", "--correct").err == ""


def test_a_series_file_named_in_place_of_its_folder_is_understood(folder):
    for words in (("check",), ("sheets",), ("log",), ("plan", "--design", "optimal", "--melts", "2")):
        command, *more = words
        ran = called(command, folder / "series.toml", *more)
        assert ran.code == 0, ran.err
    assert (folder / "sheets.html").exists()


def test_more_melts_than_a_firing_holds_and_a_risk_that_cannot_be_kept_are_said(folder):
    ran = called("next", folder, "--melts", 5, "--most-risk", 0)
    assert ran.code == 0
    assert "One firing holds 2" in ran.out


def test_hostile_names_reach_neither_terminal_nor_page(folder):
    text = (folder / "series.toml").read_text(encoding="utf-8")
    text = text.replace('name = "contained"', 'name = "contained"\nquestion = "<script>alert(1)</script>\u202e\\tx"')
    (folder / "series.toml").write_text(text, encoding="utf-8")
    for command in ("check", "sheets", "log"):
        ran = called(command, folder)
        assert "\u202e" not in ran.out + ran.err
    if (folder / "sheets.html").exists():
        assert "<script>" not in (folder / "sheets.html").read_text(encoding="utf-8")


def test_help_and_version_are_there_for_the_asking(tmp_path):
    assert started("--version", cwd=tmp_path).out.startswith("meltdoe ")
    said = called("--help")
    assert said.code == 0
    for command in ("tour", "begin", "check", "options", "plan", "sheets", "record", "log", "analyse", "next"):
        assert f"\n  {command} " in said.out
        help_page = called(command, "--help")
        assert help_page.code == 0
        assert f"Example: meltdoe {command}" in help_page.out
    assert called().code == 2


def test_check_says_what_it_could_not_look_at(folder):
    text = (folder / "series.toml").read_text(encoding="utf-8")
    (folder / "series.toml").write_text(text.replace('kind = "pass"', "kind = pass", 1), encoding="utf-8")
    ran = called("check", folder)
    assert ran.code == 1
    assert ran.out == "Not checked yet, since series.toml comes first: plan.csv and log.csv.\n"
    assert ran.lines[0].endswith("(the rest of the file cannot be checked before that)")
    assert json.loads(called("check", folder, "--json").out)["not_checked"] == ["plan.csv", "log.csv"]


def test_log_of_an_empty_series_says_so(tmp_path):
    assert called("begin", tmp_path / "s", "--from", "obsidian-block").code == 0
    ran = called("log", tmp_path / "s")
    assert (ran.code, ran.out.strip()) == (0, "No melt is on record yet.")


def test_a_heat_above_the_ceiling_and_a_day_to_come_are_remarked_on_and_recorded(folder):
    ran = called("record", folder, "--melt", 9, "--set", "peak=1300", "--seen", "contained=no", "--date", "2999-01-01")
    assert ran.code == 0
    assert "the kiln goes no higher than 1280 °C" in ran.err
    assert "the date 2999-01-01 is still to come" in ran.err
    document = called("record", folder, "--melt", 9, "--note", "hot", "--json").document
    assert document["remarks"] == [], "it was said when it was put down"
    again = called("record", folder, "--melt", 10, "--firing", 5, "--set", "peak=1300", "--seen", "contained=no")
    assert "lies outside" not in again.err, "said of this firing already"
    assert "kiln goes no higher" not in again.err
    assert re.search(r"\d+ remarks on these melts, .*; to read them: meltdoe check", called("log", folder).out)
    assert called("record", folder, "--remove", "--melt", 10, "--reason", "not made").code == 0
    checked = called("check", folder)
    assert checked.code == 0
    assert "melt 9: the date 2999-01-01 is still to come" in checked.out


def test_a_circumstance_that_other_melts_have_is_asked_after(folder):
    assert called("record", folder, "--melt", 9, "--set", "humidity=61", "--seen", "contained=no").code == 0
    ran = called("record", folder, "--melt", 10, "--seen", "contained=no")
    assert f"humidity is not said, and other melts have it; to add it: meltdoe record {folder} --melt 10" in ran.err
    assert "humidity is blank for melts 1 to 8 and 10, and on record for others" in called("check", folder).out
    assert "humidity" not in called("record", folder, "--melt", 10, "--set", "humidity=58").err


def test_the_reason_of_a_correction_that_changes_nothing_is_kept(folder):
    ran = called("record", folder, "--melt", 1, "--correct", "--set", "flux=22", "--reason", "weighed again")
    assert ran.code == 0
    assert "the reason is kept in the journal" in ran.out
    assert called("log", folder).out.rstrip().endswith("correct: melt 1: nothing new (weighed again)")


def test_a_melt_that_a_power_cut_ended_can_be_put_down_by_questions(folder):
    ran = called("record", folder, stdin="9\n\n\n\n\n\n\npower cut at 600 °C\n")
    assert ran.code == 0, ran.err
    assert "power cut" in ran.err
    assert (row(folder, 9)["contained"], row(folder, 9)["note"]) == ("", "power cut at 600 °C")
    ran = called("record", folder, stdin="10\n\n\n\nyes\n\nlost\n\npower cut before the pour\n")
    assert ran.code == 0, ran.err
    assert "write the value, later (not known yet) or lost" in ran.err, "what was reached is not left blank"
    assert (row(folder, 10)["contained"], row(folder, 10)["poured"]) == ("yes", "lost")
    assert "fill not known (poured lost)" in ran.out


TABLE = "melt;peak;flux;grain;contaned;oven\n21;1.200;22,5;fine;no;left\n"


def test_a_table_that_does_not_fit_is_shown_and_brought_in_only_as_shown(folder, monkeypatch):
    table = folder.parent / "old.csv"
    table.write_text(TABLE, encoding="utf-8")
    before = on_disk(folder.parent)
    words = ("record", folder, "--from", table)
    ran = called(*words)
    assert ran.code == 1
    assert re.search(r"contaned +contained +likeness", ran.out)
    assert re.search(r"oven +none: kept in the note", ran.out)
    assert "peak 1200 °C, flux 22.5 wt%" in ran.out, "the values as they are understood"
    assert [line for line in ran.lines if "--as-shown" in line] == ran.lines
    assert len(ran.lines) == 2
    document = json.loads(called(*words, "--json").out)
    assert (document["written"], len(document["problems"])) == (False, 2)
    monkeypatch.setattr("meltdoe.cli.bringing_in.can_ask", lambda: True)
    assert called(*words, stdin="no\n").code == 1
    assert on_disk(folder.parent) == before
    assert called(*words, "--column", "contaned=contained", "--column", "oven=", stdin="").code == 0
    assert (row(folder, 21)["contained"], row(folder, 21)["flux"]) == ("no", "22.5")
    assert called("record", folder, "--undo").code == 0
    assert called(*words, stdin="yes\n").code == 0
    assert row(folder, 21)["note"] == "oven: left"
    assert called("record", folder, "--undo").code == 0
    assert called(*words, "--as-shown").code == 0
    assert row(folder, 21)["note"] == "oven: left"


def test_a_refused_table_is_shown_with_what_each_row_says(folder):
    table = folder.parent / "old.csv"
    table.write_text("melt,flux,contained\n21,20,no\n", encoding="utf-8")
    for more in ((), ("--preview",)):
        ran = called("record", folder, "--from", table, *more)
        assert ran.code == 1
        assert "line 2: melt 21, flux 20, contained no" in ran.out
        assert "would be brought in" not in ran.out
        assert "nothing is said of peak" in ran.err


def test_the_log_goes_through_a_spreadsheet_with_decimal_commas_and_back(folder):
    """As a spreadsheet of many countries saves it: semicolons, commas in numbers, day.month.year, a mark in front."""
    assert called("record", folder, "--melt", 9, "--set", "flux=20.5", "--seen", "contained=no").code == 0
    lines = (folder / "log.csv").read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in lines]
    for cells in rows[1:]:
        cells[2] = ".".join(reversed(cells[2].split("-")))
        cells[3:5] = [cell.replace(".", ",") for cell in cells[3:5]]
    text = "\r\n".join(";".join(cells) for cells in rows) + "\r\n"
    (folder / "log.csv").write_bytes(text.encode("utf-16"))
    checked = called("check", folder, "--json").document
    assert checked["problems"] == checked["waiting"] == []
    book = folder.parent / "book.xlsx"
    assert called("log", folder, "--to", book).code == 0
    ran = called("record", folder, "--from", book)
    assert (ran.code, ran.out.splitlines()[-1]) == (0, "0 melts brought in.")
    assert called("record", folder, "--melt", 10, "--seen", "contained=no").code == 0
    assert (row(folder, 9)["flux"], row(folder, 1)["date"]) == ("20.5", "2026-08-11")


def test_a_workbook_takes_the_place_of_no_file(folder):
    book = folder.parent / "melts.xlsx"
    written = called("log", folder, "--to", book)
    assert (written.code, written.out) == (0, f"Written: {book}\n")
    before = on_disk(folder.parent)
    ran = called("log", folder, "--to", book)
    assert ran.code == 1
    assert f'meltdoe record {folder} --from "{book}"' in ran.err
    for name in ("journal.jsonl", "log.csv", "series.toml"):
        assert called("log", folder, "--to", folder / name).code == 2
    assert on_disk(folder.parent) == before


def test_a_notebook_table_with_headings_of_its_own_is_understood_and_what_is_missing_is_listed(folder):
    table = folder.parent / "notes.csv"
    lines = ["Melt no.;Day;Peak °F;Flux [%];GRAIN;contained ?;Colour", "31;1.9.2026;2192;21,5;fine;no;green"]
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    ran = called("record", folder, "--from", table, "--preview")
    assert ran.code == 0, ran.err
    assert "No column for: firing (as planned, else one each), poured (left blank), fill (left blank)" in ran.out
    assert re.search(r"Colour +none: kept in the note", ran.out)
    assert "peak 1200 °C, flux 21.5 wt%, grain fine" in ran.out
    document = called("record", folder, "--from", table, "--preview", "--json").document
    assert document["without_column"][0] == "firing (as planned, else one each)"
    assert document["unmatched"] == ["Colour"]


@pytest.mark.skipif(sys.platform == "win32", reason="streams are closed by a shell of another kind there")
@pytest.mark.parametrize(("words", "closed", "code"), [("log", ">&-", 0), ("log", "2>&-", 0), ("record", "<&-", 2)])
def test_a_stream_closed_by_the_shell_is_no_fault(folder, words, closed, code):
    line = f'exec "$0" -m meltdoe {words} "$1" {closed}'
    ran = subprocess.run(["sh", "-c", line, sys.executable, str(folder)], capture_output=True, check=False, timeout=120)
    assert ran.returncode == code
    assert b"fault of the program" not in ran.stderr


def test_a_plan_whose_rows_were_all_deleted_plans_nothing(folder):
    head = (folder / "plan.csv").read_text(encoding="utf-8").splitlines()[0]
    (folder / "plan.csv").write_text(head + "\n", encoding="utf-8")
    assert called("check", folder).code == 0
    assert "go into the plan" in called("next", folder).out
    ran = called("sheets", folder)
    assert (ran.code, ran.err.startswith("plan.csv: holds no melt; draw up a plan")) == (1, True)


def test_rows_deleted_by_hand_stay_deleted_though_the_plan_was_just_so_before(folder):
    first = (folder / "plan.csv").read_bytes()
    assert "In the plan now" in called("next", folder, "--add-to-plan").out
    (folder / "plan.csv").write_bytes(first)
    later = (folder / "journal.jsonl").stat().st_mtime + 10
    os.utime(folder / "plan.csv", (later, later))
    assert "go into the plan" in called("next", folder).out
    assert "In the plan now" in called("next", folder, "--add-to-plan").out


def test_melts_to_confirm_take_the_place_of_what_was_proposed(folder):
    called("next", folder, "--add-to-plan")
    said = called("next", folder, "--add-to-plan", "--confirm", "--melts", "3").out
    planned = list(csv.DictReader((folder / "plan.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["purpose"] for row in planned if row["purpose"] in ("proposed", "confirmation")] == ["confirmation"] * 3
    assert [int(row["order"]) for row in planned] == list(range(1, len(planned) + 1))
    assert said.count("In the plan now") == 3
    assert "melts left, and up to" in called("next", folder, "--add-to-plan", "--confirm", "--melts", "40").out


def test_a_plan_is_drawn_up_and_compared_with_a_setting_on_record_that_nobody_knows(folder):
    assert called("record", folder, "--melt", 2, "--correct", "--set", "flux=unknown").code == 0
    ran = called("plan", folder, "--melts", 2)
    assert ran.code == 0, ran.err
    for words in (("analyse", "--no-figures"), ("next",), ("report",), ("log",)):
        command, *more = words
        ran = called(command, folder, *more)
        assert ran.code == 0, (command, ran.err)
        assert "nan" not in ran.out.split()
