"""The whole job with the real commands: set out, plan, record, analyse, next, report, for people and for programs."""

import csv
import json
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from running import called, on_disk, started

ANSWERS = """\
Block from crushed rock (invented)
A whole casting
flux 15 to 40 wt% step 5
peak 1150 to 1250 °C step 25 per firing
sand: coarse, fine

contained
fill: at least 95 %
cracks: none, hairline | open, shattered

12
2
1280 °C
"""
MELTS = (  # eight melts as they come in: partial, overshot, in other units, with a comma, one still awaited
    ("--melt", 1, "--seen", "contained=yes", "--seen", "fill=80", "--date", "2026-03-01"),
    ("--melt", 2, "--seen", "contained=no", "--note", "wall eaten through; Wärme überall"),
    ("--melt", 3, "--set", "peak=2287 °F", "--seen", "contained=yes", "--seen", "fill=97,5", "--seen", "cracks=open"),
    ("--melt", 4, "--seen", "contained=yes", "--seen", "fill=98", "--seen", "cracks=later"),
    ("--melt", 5, "--set", "flux=16.5", "--seen", "contained=yes", "--seen", "fill=lost"),
    ("--melt", 6, "--seen", "contained=yes", "--seen", "fill=96 %", "--seen", "cracks=hairline"),
    ("--melt", 7, "--seen", "contained=yes", "--seen", "fill=60"),
    ("--set", "flux=30", "--set", "peak=1225", "--set", "sand=fine", "--seen", "contained=yes", "--seen", "fill=99",
     "--seen", "cracks=none"),
)  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("bench")


@pytest.fixture(scope="module")
def begun(place):
    """A series begun by questions; the folder and what the command said."""
    ran = started("begin", "block", "--json", cwd=place, stdin=ANSWERS)
    return place / "block", ran


@pytest.fixture(scope="module")
def small(place):
    """A series of two factors and one outcome, for what takes long."""
    answers = "Small\n\nflux 15 to 40 wt% step 5\nsand: coarse, fine\n\ncontained\n\n8\n1\n\n"
    assert called("begin", place / "small", stdin=answers).code == 0
    return place / "small"


@pytest.fixture(scope="module")
def drawn(begun):
    """The same with a plan of eight melts; what the command said as JSON and as text."""
    folder, _ = begun
    words = ("plan", folder, "--design", "fraction", "--melts", 8)
    return folder, started(*words, "--json", cwd=folder.parent).document, called(*words)


@pytest.fixture(scope="module")
def recorded(drawn):
    """The same with all melts on record; what each command said."""
    folder, *_ = drawn
    said = [
        (started if i < 2 else called)(
            "record", folder, *words, *(["--json"] if i % 2 else []), **({"cwd": folder} if i < 2 else {})
        )
        for i, words in enumerate(MELTS)
    ]
    return folder, said


@pytest.fixture(scope="module")
def tried(small, tmp_path_factory):
    """A copy of the small series with four melts on record."""
    folder = tmp_path_factory.mktemp("tried") / "small"
    folder.mkdir()
    (folder / "series.toml").write_bytes((small / "series.toml").read_bytes())
    for flux, good in ((15, "yes"), (20, "yes"), (35, "no"), (40, "no")):
        words = ("--set", f"flux={flux}", "--set", "sand=fine", "--seen", f"contained={good}")
        assert called("record", folder, *words).code == 0
    return folder


def rows(folder):
    return list(csv.DictReader((folder / "log.csv").read_text(encoding="utf-8").splitlines()))


def test_begin_by_questions_asks_on_standard_error_and_writes_a_commented_file(begun):
    folder, ran = begun
    assert ran.document["folder"] == "block"
    text = (folder / "series.toml").read_text(encoding="utf-8")
    assert 'name = "flux"' in text
    assert text.count("[[outcome]]") >= 3
    assert "# " in text
    assert "A factor to vary" in ran.err


def test_begin_from_an_example_writes_a_series_that_holds_together(place):
    ran = started("begin", "copy", "--from", "obsidian-block", cwd=place)
    assert (ran.code, ran.err) == (0, "")
    assert "copy" in ran.out
    assert called("check", place / "copy").code == 0
    assert called("begin", place / "copy2", "--from", "fill-and-surface", "--json").document["folder"]


def test_begin_never_writes_over_a_series(begun):
    folder, _ = begun
    before = on_disk(folder)
    for words in (("--from", "obsidian-block"), ()):
        ran = called("begin", folder, *words, stdin=ANSWERS)
        assert ran.code == 1
        assert "already there" in ran.lines[-1]
    assert on_disk(folder) == before


def test_questions_answered_wrongly_are_asked_again_and_nothing_is_lost(tmp_path):
    answers = (
        "T\nG\nnonsense\nflux 40 to 15 wt%\nflux 15 to 40 wt%\nflux 1 to 2 h\nnote 1 to 2\n\n"
        "contained\nflux\nfill: rather full\n\nmany\n0\n8\n1\nhot\n1280 °C\n"
    )
    ran = called("begin", tmp_path / "s", stdin=answers)
    assert ran.code == 0, ran.err
    for said in ('"nonsense" is not understood', "swap", "given already", "column of the log", "rather full", '"hot"'):
        assert said in ran.err, said
    assert "Traceback" not in ran.err
    assert called("check", tmp_path / "s").code == 0


@pytest.mark.parametrize("kept", range(0, 13, 3))
def test_questions_that_end_early_write_nothing(tmp_path, kept):
    ran = called("begin", tmp_path / "s", stdin="".join(ANSWERS.splitlines(keepends=True)[:kept]))
    assert ran.code == 2
    assert ran.lines[-1] == "meltdoe: the answers ended before the last question; nothing was written"
    assert not (tmp_path / "s").exists()


def test_check_finds_nothing_wrong(begun):
    folder, _ = begun
    ran = started("check", folder, "--json", cwd=folder)
    assert ran.document["problems"] == []
    assert ran.err == ""
    assert called("check", folder).out.strip()


def test_options_stand_side_by_side_before_anything_is_bought(small):
    ran = started("options", small, "--rehearsals", "1", "--json", cwd=small)
    offered = ran.document["options"]
    assert ran.err == ""
    assert len(offered) >= 2
    for option in offered:
        assert {"name", "melts", "firings", "cost", "power", "aliased", "rehearsal"} <= option.keys()
        assert option["melts"] <= 8
        assert 0.0 <= option["power"] <= 1.0
        assert 0.0 <= option["rehearsal"]["reached"] <= 1.0
    text = called("options", small, "--rehearsals", "0")
    assert text.code == 0
    assert all(option["name"] in text.out for option in offered)
    assert "Recommended" in text.out


def test_the_plan_is_written_and_told_alike(drawn):
    folder, document, text = drawn
    assert document["design"] == "full"
    assert len(document["melts"]) == 8
    for melt in document["melts"]:
        assert {"melt", "firing", "order", "settings", "purpose"} <= melt.keys()
        assert melt["settings"].keys() == {"flux", "peak", "sand"}
    assert text.code == 0
    assert "plan.csv" in text.out
    on_paper = list(csv.DictReader((folder / "plan.csv").read_text(encoding="utf-8").splitlines()))
    assert list(on_paper[0]) == ["melt", "firing", "order", "flux", "peak", "sand", "purpose"]
    told = [(m["melt"], m["firing"], m["settings"]["flux"], m["settings"]["sand"]) for m in document["melts"]]
    assert told == [(int(r["melt"]), int(r["firing"]), float(r["flux"]), r["sand"]) for r in on_paper]


def test_sheets_are_written_for_every_planned_melt(drawn):
    folder, document, _ = drawn
    ran = started("sheets", folder, "--json", cwd=folder)
    page = Path(ran.document["file"]).read_text(encoding="utf-8")
    assert all(f'id="melt-{melt["melt"]}"' in page for melt in document["melts"])
    assert called("sheets", folder).code == 0


def test_every_melt_is_put_down_as_it_was(recorded):
    folder, said = recorded
    assert [ran.code for ran in said] == [0] * 8, [ran.err for ran in said]
    for i, ran in enumerate(said):
        if i % 2:
            document = ran.document
            assert document["melt"] == i + 1 if i < 7 else document["melt"] == 9, "outside the plan comes after it"
            assert document["row"]["seen"].keys() == {"contained", "fill", "cracks"}
        else:
            assert "Recorded" in ran.out
    log = {int(row["melt"]): row for row in rows(folder)}
    assert list(log) == [1, 2, 3, 4, 5, 6, 7, 9]
    assert (log[1]["fill"], log[1]["cracks"], log[1]["date"]) == ("80", "", "2026-03-01")
    assert (log[2]["contained"], log[2]["fill"]) == ("no", "")
    assert log[2]["note"] == "wall eaten through; Wärme überall"
    assert float(log[3]["peak"]) == pytest.approx((2287 - 32) / 1.8, abs=1e-4)
    assert (log[3]["fill"], log[4]["cracks"], log[5]["fill"], log[5]["flux"]) == ("97.5", "later", "lost", "16.5")
    assert log[4]["peak"] == log[3]["peak"], "melts of one firing had the same heat"


def test_a_later_outcome_is_completed_and_a_slip_is_corrected_with_both_in_the_history(recorded, tmp_path):
    folder = copy_of(recorded[0], tmp_path)
    completed = started("record", folder, "--melt", 4, "--seen", "cracks=none", cwd=folder)
    assert completed.code == 0
    assert "Completed" in completed.out
    refused = called("record", folder, "--melt", 1, "--seen", "fill=81")
    assert refused.code == 2
    assert "--correct" in refused.err
    corrected = called("record", folder, "--melt", 1, "--seen", "fill=81", "--correct", "--reason", "misread", "--json")
    assert corrected.document["how"] == "corrected"
    removed = called("record", folder, "--remove", "--melt", 9, "--reason", "another glass")
    assert removed.code == 0
    assert [int(row["melt"]) for row in rows(folder)] == [1, 2, 3, 4, 5, 6, 7]
    undone = called("record", folder, "--undo", "--json")
    assert undone.document["undone"]
    log = {int(row["melt"]): row for row in rows(folder)}
    assert (log[4]["cracks"], log[1]["fill"], log[9]["cracks"]) == ("none", "81", "none")
    history = called("log", folder, "--json").document["history"]
    assert len(history) == 2 + 8 + 4, "two plans, eight records, and what was done here"
    told = " ".join(history)
    assert "misread" in told
    assert "another glass" in told
    assert "fill 80 -> 81" in told
    assert called("check", folder).code == 0


def test_a_melt_is_put_down_by_questions(recorded, tmp_path):
    folder = copy_of(recorded[0], tmp_path)
    ran = started("record", folder, cwd=folder, stdin="8\n\n\n\nyes\n101\n97\nlots\nhairline\nall went well\n")
    assert ran.code == 0, ran.err
    assert "which cannot be" in ran.err
    assert "none of its words" in ran.err
    row = rows(folder)[-1]
    assert (row["melt"], row["fill"], row["cracks"], row["note"]) == ("8", "97", "hairline", "all went well")
    before = on_disk(folder)
    ended = called("record", folder, stdin="10\n20\n")
    assert ended.code == 2
    assert on_disk(folder) == before


def test_an_edit_made_in_a_spreadsheet_is_entered_and_told(recorded, tmp_path):
    folder = copy_of(recorded[0], tmp_path)
    log = folder / "log.csv"
    log.write_text(log.read_text(encoding="utf-8").replace("80,", "82,", 1), encoding="utf-8")
    ran = called("record", folder, "--melt", 4, "--seen", "cracks=open", "--json")
    assert ran.document["melt"] == 4
    assert "Edit found in log.csv" in ran.err
    assert "fill 80 -> 82" in ran.err


def test_a_table_from_elsewhere_is_previewed_and_brought_in(recorded, tmp_path):
    folder = copy_of(recorded[0], tmp_path)
    table = tmp_path / "notes.csv"
    table.write_text(
        "\ufeffMelt;When;flux;Peak (°C);sand;contained;fill;remarks\n"
        "21;3.4.2026;22,5;1200;fine;ja;;x\n"
        "22;10.4.2026;27,5;1225;coarse;no;;leaked\n".replace("ja", "yes").replace("yes;;", "yes;71,5;"),
        encoding="utf-8",
    )
    words = ("record", folder, "--from", table, "--column", "When=date", "--column", "remarks=note")
    before = on_disk(folder)
    preview = called(*words, "--preview", "--json").document
    assert preview["written"] is False
    assert preview["melt"] == [21, 22]
    assert on_disk(folder) == before
    assert called(*words).code == 0
    log = {int(row["melt"]): row for row in rows(folder)}
    assert (log[21]["flux"], log[21]["fill"], log[21]["date"]) == ("22.5", "71.5", "2026-04-03")
    again = called(*words)
    assert again.code == 0
    assert len(rows(folder)) == 10, "the same rows again change nothing"


def test_the_log_is_told_with_its_history(recorded):
    folder, _ = recorded
    ran = started("log", folder, "--json", cwd=folder)
    document = ran.document
    assert [row["melt"] for row in document["rows"]] == [1, 2, 3, 4, 5, 6, 7, 9]
    assert len(document["history"]) == 2 + 8
    text = called("log", folder)
    assert text.code == 0
    assert "not known" in text.out, "melt 4 awaits its cracks"


def test_analyse_says_what_mattered_and_how_sure(recorded):
    folder, _ = recorded
    ran = started("analyse", folder, "--json", cwd=folder)
    document = ran.document
    assert ran.err == ""
    assert document["outcomes"].keys() == {"contained", "fill", "cracks"}
    for outcome in document["outcomes"].values():
        assert isinstance(outcome["effects"], list)
        assert {"seen", "good", "method"} <= outcome["fit"].keys()
    assert document["outcomes"]["contained"]["fit"]["seen"] == 8
    assert document["outcomes"]["fill"]["fit"]["seen"] == 6, "one spilled, one was lost"
    assert document["outcomes"]["cracks"]["fit"]["seen"] == 3, "one is awaited"
    best = document["best"]
    assert {"settings", "chance", "low", "high"} <= best.keys()
    assert 0.0 <= best["low"] <= best["chance"] <= best["high"] <= 1.0
    assert document["figures"]
    for name in document["figures"]:
        assert Path(name).stat().st_size > 500
        if name.endswith(".svg"):
            assert ElementTree.parse(name).getroot().tag.endswith("svg")


def test_analyse_says_the_same_to_people_at_the_level_that_they_ask_for(tried):
    text = called("analyse", tried, "--no-figures", "--level", "80")
    assert (text.code, text.err) == (0, "")
    assert text.out.startswith("Small: 4 melts")
    assert "80 %" in text.out
    assert not re.search(r"\bnan\b|\binf\b|\bNone\b", text.out)
    assert not (tried / "figures").exists()


def test_next_proposes_a_firing_with_its_reason(recorded):
    folder, _ = recorded
    ran = started("next", folder, "--json", cwd=folder)
    document = ran.document
    assert ran.err == ""
    assert len(document["melts"]) == 2
    for melt in document["melts"]:
        assert {"settings", "firing", "chance", "information", "cost", "why"} <= melt.keys()
        assert melt["firing"] == 6
        assert melt["why"]
    assert document["best"].keys() >= {"settings", "chance", "low", "high"}
    assert document["advice"]["verdict"] in ("go on", "stop")
    assert document["advice"]["reason"]
    text = called("next", folder, "--melts", 1)
    assert text.code == 0
    heads = ("GO ON", "DECIDE FIRST", "TRY THE BEST GUESS") if document["advice"]["verdict"] == "go on" else ("STOP",)
    assert text.out.startswith(heads)


def test_rehearse_plays_whole_series(small):
    ran = started("rehearse", small, "--series", "3", "--json", cwd=small)
    assert ran.document.keys() >= {"series", "reached", "melts_needed", "losses"}
    assert ran.err == ""
    text = called("rehearse", small, "--series", "3")
    assert text.code == 0
    assert "Monte Carlo" not in text.out
    assert re.search(r"truly did so in [0-3] of 3; of very many such series", text.out)


def test_the_report_is_one_page_with_its_figures(recorded):
    folder, _ = recorded
    ran = started("report", folder, "--json", cwd=folder)
    assert ran.err == ""
    page = Path(ran.document["file"])
    assert page == folder / "report.html"
    assert "Block from crushed rock" in page.read_text(encoding="utf-8")
    assert called("check", folder).code == 0


def test_looking_changes_nothing_and_gives_the_same_answers_again(tried):
    before = on_disk(tried)
    first, again = (called("analyse", tried, "--no-figures", "--json") for _ in range(2))
    assert first.document == again.document
    first, again = (called("next", tried, "--json") for _ in range(2))
    assert first.document == again.document
    assert on_disk(tried) == before


def test_a_new_plan_keeps_what_is_on_record(recorded, tmp_path):
    folder = copy_of(recorded[0], tmp_path)
    ran = called("plan", folder, "--design", "optimal", "--melts", 3, "--json")
    melts = {melt["melt"]: melt for melt in ran.document["melts"]}
    assert set(range(1, 8)) <= melts.keys()
    assert sorted(melts)[-3:] == [10, 11, 12]
    assert len(rows(folder)) == 8


def test_the_tour_ends_with_a_report_that_is_there_also_where_there_is_no_plan(tmp_path):
    """The installed program takes the usual tour in the tests of the wheel."""
    ran = started("tour", "look", "--example", "six-old-attempts", "--json", cwd=tmp_path)
    assert ran.err == ""
    assert ran.document["folder"] == "look"
    page = (tmp_path / ran.document["report"]).read_text(encoding="utf-8")
    assert page.lower().startswith("<!doctype html>")
    before = on_disk(tmp_path)
    refused = called("tour", tmp_path / "look")
    assert refused.code == 1
    assert "is not empty" in refused.err
    assert on_disk(tmp_path) == before


def test_numbers_for_programs_are_plain_json_in_any_terminal(recorded):
    folder, _ = recorded
    ran = started("log", folder, "--json", cwd=folder, settings={"PYTHONIOENCODING": "ascii"})
    assert "Wärme überall" in str(json.loads(ran.out))
    text = started("log", folder, cwd=folder, settings={"PYTHONIOENCODING": "ascii"})
    assert (text.code, text.err) == (0, "")
    assert "1150 ?C" in text.out


def copy_of(folder, to):
    """A copy of the four files of a series, to try things on."""
    copy = to / "copy"
    copy.mkdir()
    for name in ("series.toml", "plan.csv", "log.csv", "journal.jsonl"):
        (copy / name).write_bytes((folder / name).read_bytes())
    return copy
