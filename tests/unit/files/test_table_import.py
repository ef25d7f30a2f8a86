"""Tables from elsewhere: matched, shown, then brought in whole or not at all."""

import pytest
from bench_series import GOOD, SPILLED, bench_plan, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.plan_csv import write_plan
from meltdoe.files.store.recording import history, record_melt, undo
from meltdoe.files.store.table_import import import_table, preview_import
from meltdoe.series import Unseen

OLD_MELTS = (
    "Nr;Flux share of the charge;Peak temperature (°F);SAND;Did the charge stay in the crucible?;fil;cracks;colour\n"
    "11;20,5;2192;Fine;yes;97,5;hairline;green\n"
    "12;21;2192;coarse;no;;;\n"
)


@pytest.fixture
def series(tmp_path):
    return bench_series(tmp_path)


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "old melts.csv"
    path.write_text(OLD_MELTS, encoding="cp1252")
    return path


def test_the_match_is_shown_before_anything_is_written(series, table, tmp_path):
    before = snapshot(tmp_path)
    preview = preview_import(series, table)
    assert [str(column) for column in preview.match.matched] == [
        '"Nr" is melt (label)',
        '"Flux share of the charge" is flux (label)',
        '"Peak temperature (°F)" is peak (label, in °F)',
        '"SAND" is sand (same word)',
        '"Did the charge stay in the crucible?" is contained (label)',
        '"fil" is fill (likeness)',
        '"cracks" is cracks (exact)',
    ]
    assert preview.match.unmatched == ("colour",)
    assert preview.problems == ()
    assert preview.event is None
    assert snapshot(tmp_path) == before


def test_rows_are_brought_in_as_one_event(series, table):
    result = import_table(series, table)
    log = read_log(series)
    assert log.entries == result.entries
    assert [entry.melt for entry in log.entries] == [11, 12]
    assert [entry.firing for entry in log.entries] == [1, 2]
    assert log.entries[0].settings == settings(20.5)
    assert log.entries[0].note == "colour: green"
    assert import_table(series, table).event is None
    undo(series)
    assert read_log(series).entries == ()


def test_columns_without_a_match_may_be_left_out(series, table):
    assert import_table(series, table, unmatched="leave out").entries[0].note == ""


def test_a_doubtful_heading_is_asked_about_and_can_be_settled(series, tmp_path):
    path = tmp_path / "old.csv"
    path.write_text("flux,peak,sand,contained,notes,remarks\n20,1200,fine,no,a,b\n")
    with pytest.raises(ProblemsFound, match='note can be "notes" or "remarks"'):
        import_table(series, path)
    result = import_table(series, path, {"remarks": "note", "notes": ""}, unmatched="leave out")
    assert result.entries[0].note == "b"


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"fil": "contaned"}, 'the log has no column "contaned"; write "contained"'),
        ({"fill": "fill"}, 'has no heading "fill"; write "fil"'),
        ({"fil": "fill", "cracks": "fill"}, "two headings are said to stand for fill"),
    ],
)
def test_what_the_user_settles_is_checked(series, table, told, said):
    assert any(said in str(problem) for problem in preview_import(series, table, told).problems)


def test_all_rows_come_in_or_none(series, tmp_path):
    path = tmp_path / "old.csv"
    path.write_text(
        "melt,flux,peak,sand,contained,fill\n1,20,1200,fine,no,\n2,20,1200,fine,yes,\n3,20,1200,fin,no,\n"
        "1,20,1200,fine,no,\nx,20,1200,fine,no,\n"
    )
    before = snapshot(tmp_path)
    with pytest.raises(ProblemsFound) as found:
        import_table(series, path)
    assert [problem.line for problem in found.value.problems] == [3, 4, 5, 6]
    assert "old.csv, line 3: melt 2 leaves fill blank" in str(found.value)
    assert snapshot(tmp_path) == before


def test_half_written_notes_come_in_where_the_user_says_so(series, tmp_path):
    path = tmp_path / "old.csv"
    path.write_text("melt,flux,peak,sand,contained\n2,20,1200,fine,yes\n")
    assert import_table(series, path, unsaid="lost").entries[0].seen["fill"] is Unseen.LOST


def test_planned_melts_are_filled_in_from_the_plan_and_none_is_replaced(series, tmp_path):
    write_plan(series, bench_plan(series))
    record_melt(series, 1, seen=GOOD)
    record_melt(series, 2, seen={"contained": "yes", "fill": "later"})
    path = tmp_path / "bench.csv"
    path.write_text("melt,contained,fill\n1,yes,97.5\n2,,90\n3,no,\n")
    result = import_table(series, path)
    assert [draft.how for draft in result.drafts] == ["unchanged", "completed", "new"]
    assert result.drafts[2].entries[0].settings == settings(22, 1210)
    path.write_text("melt,contained,fill\n1,yes,80\n")
    with pytest.raises(ProblemsFound, match=r"melt 1 is on record with fill 97.5"):
        import_table(series, path)


def test_a_table_without_melt_numbers_comes_in_once(series, tmp_path):
    path = tmp_path / "old.csv"
    path.write_text("flux,peak,sand,contained\n20,1200,fine,no\n21,1200,fine,no\n")
    record_melt(series, 4, settings=settings(), seen=SPILLED)
    assert [entry.melt for entry in import_table(series, path).entries] == [5, 6]
    with pytest.raises(ProblemsFound, match="was brought in on"):
        import_table(series, path)
    undo(series)
    assert [entry.melt for entry in import_table(series, path).entries] == [5, 6]


@pytest.mark.parametrize(
    ("content", "said"),
    [("flux,peak\n1,2\n", "no heading stands for an outcome"), ("flux,contained\n", "holds no row"), ("", "is empty")],
)
def test_a_table_of_something_else_is_refused(series, tmp_path, content, said):
    path = tmp_path / "old.csv"
    path.write_text(content)
    with pytest.raises(ProblemsFound, match=said):
        import_table(series, path)


def test_the_log_itself_is_not_brought_in(series, tmp_path):
    record_melt(series, settings=settings(), seen=SPILLED)
    with pytest.raises(ProblemsFound, match="is the log itself"):
        import_table(series, tmp_path / "log.csv")


def test_the_history_tells_many_new_rows_by_their_numbers(series, tmp_path):
    path = tmp_path / "old.csv"
    path.write_text("melt,flux,peak,sand,contained\n" + "".join(f"{i},20,1200,fine,no\n" for i in range(11, 16)))
    import_table(series, path)
    (line,) = history(series)
    assert line.endswith("import from old.csv: 5 rows added: melt 11, melt 12, melt 13, melt 14, melt 15")


def test_what_each_row_says_is_shown_also_where_rows_are_refused(series, tmp_path):
    path = tmp_path / "old.csv"
    path.write_text("melt;flux;peak;sand;contained\n7;20,5;1200;fine;perhaps\n8;21;1200;coarse;no\n")
    preview = preview_import(series, path)
    assert preview.said == (
        (2, "melt 7, flux 20,5, peak 1200, sand fine, contained perhaps"),
        (3, "melt 8, flux 21, peak 1200, sand coarse, contained no"),
    )
    assert "contained says" in str(preview.problems[0])


@pytest.mark.parametrize("content", [b"", bytes(range(256)) * 9, b"PK\x03\x04junk", b"melt,flux\n1,2\n"])
def test_anything_else_under_the_name_of_a_workbook_is_said_to_be_so(series, tmp_path, content):
    path = tmp_path / "junk.XLSX"
    path.write_bytes(content)
    with pytest.raises(ProblemsFound, match=r"junk.XLSX: cannot be read as an .xlsx workbook.*save it from the"):
        preview_import(series, path)


def test_a_question_mark_is_no_value_of_an_outcome_and_unknown_as_a_setting(series, tmp_path):
    path = tmp_path / "scribbled.csv"
    path.write_text(
        "Nr;flux;peak;sand;contained;fill;cracks;when\n"
        "1;?;1200;fine;yes;97,5;?;3.4.26\n"
        "2;21;?;?;no;?;?;?\n"
        "3;22;1190;coarse;?;;;20.4.26\n",
        encoding="utf-8",
    )
    asked = preview_import(series, path)
    assert any("melt 1 leaves cracks blank" in str(problem) for problem in asked.problems)
    first, second, third = import_table(series, path, unsaid="lost").entries
    assert "flux" not in first.settings
    assert (first.seen["cracks"], str(first.date)) == (Unseen.LOST, "2026-04-03")
    assert second.settings == {"flux": 21.0}
    assert (second.seen["fill"], second.seen["cracks"], second.date) == (Unseen.NOT_REACHED, Unseen.NOT_REACHED, None)
    assert third.seen["contained"] is Unseen.LOST
