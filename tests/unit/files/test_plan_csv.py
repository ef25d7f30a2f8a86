"""plan.csv: written, read back, checked, and never written over melts already made."""

import logging
from dataclasses import replace
from unittest import mock

import pytest
from bench_series import GOOD, SPILLED, bench_plan, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound
from meltdoe.files.store import plan_csv
from meltdoe.files.store.plan_csv import read_plan, write_plan
from meltdoe.files.store.recording import record_melt
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.steps import plan_or_none


def test_a_plan_comes_back_as_it_was_written(tmp_path):
    series = bench_series(tmp_path)
    plan = bench_plan(series)
    assert write_plan(series, plan) == plan
    assert read_plan(series) == plan
    assert (tmp_path / "plan.csv").read_text().splitlines()[0] == "melt,firing,order,flux,peak,sand,purpose"


def test_dust_of_arithmetic_is_not_written(tmp_path):
    series = bench_series(tmp_path)
    melt = PlannedMelt(1, 1, 1, settings(flux=15 + 0.1 * 3), "fraction")
    written = write_plan(series, Plan(series, (melt,), "fraction"))
    assert written.melts[0].settings["flux"] == 15.3
    assert ",15.3," in (tmp_path / "plan.csv").read_text()


def test_without_a_plan_one_is_asked_for(tmp_path):
    with pytest.raises(ProblemsFound, match="meltdoe plan"):
        read_plan(bench_series(tmp_path))


def test_a_plan_written_by_hand_counts(tmp_path):
    (tmp_path / "plan.csv").write_text(
        "Melt;firing;order;flux;peak;sand;purpose\n1;1;1;20,5;1.200;FINE;try\n", encoding="utf-8-sig"
    )
    plan = read_plan(bench_series(tmp_path))
    assert plan.melts == (PlannedMelt(1, 1, 1, settings(flux=20.5), "try"),)
    assert plan.design == "by hand"


def test_every_problem_is_found_at_once_with_its_line(tmp_path):
    (tmp_path / "plan.csv").write_text(
        "melt,firing,order,flux,peak,sand,purpose\n"
        "1,1,1,20,1200,fine,a\n"
        "2,1,2,20,1210,fine,per firing\n"
        "2,1,3,20,1200,fine,twice and one too many\n"
        "4,2,4,50,1200,fine,range and limit\n"
        "5,2,2,20,1200,fin,option\n"
        "6,3,6,much,1200,fine,number\n"
        "x,3,7,20,1200,fine,number\n"
    )
    with pytest.raises(ProblemsFound) as found:
        read_plan(bench_series(tmp_path))
    assert str(found.value).splitlines() == [
        "plan.csv, line 3: melt 2 has peak 1210, but firing 1 is set to 1200; "
        "write one peak for the whole firing, or move the melt to another firing",
        "plan.csv, line 4: melt 2 stands already in line 3; give each row its own melt",
        "plan.csv, line 4: firing 1 holds 3 melts, but the kiln takes 2; move some of them to another firing",
        "plan.csv, line 5: melt 4 has flux 50 wt%, outside its range; "
        "keep it within 15 to 40, or draw up what is still to be melted anew with: meltdoe plan",
        'plan.csv, line 5: melt 4 breaks the limit "flux + 0.1 * peak <= 160" (it boils over); '
        "change its settings until the limit holds, or draw up what is still to be melted anew with: meltdoe plan",
        'plan.csv, line 6: sand says "fin", which is none of its words; '
        'write "fine", or another of: coarse, fine, -325 mesh',
        'plan.csv, line 7: flux: "much" is not a number; write a plain number such as 1190 or 12.5',
        'plan.csv, line 8: melt: "x" is not a number; write a plain number such as 1190 or 12.5',
    ]


def test_an_empty_file_is_a_problem_and_one_without_rows_plans_nothing(tmp_path):
    series = bench_series(tmp_path)
    (tmp_path / "plan.csv").write_text("")
    with pytest.raises(ProblemsFound):
        read_plan(series)
    write_plan(series, bench_plan(series))
    (tmp_path / "plan.csv").write_text("melt,firing,order,flux,peak,sand,purpose\n")
    assert read_plan(series).melts == ()
    assert plan_or_none(series) is None
    (tmp_path / "plan.csv").unlink()
    assert len(read_plan(series).melts) == 4, "a file that was lost is no plan given up"


def test_melts_already_made_stay_and_the_rest_is_drawn_anew(tmp_path):
    series = bench_series(tmp_path)
    old = write_plan(series, bench_plan(series))
    record_melt(series, 1, seen=GOOD)
    record_melt(series, 2, seen=SPILLED)
    new = write_plan(series, bench_plan(series, melts=3, first=3, firing=2, flux=30.0))
    assert new.melts[:2] == old.melts[:2]
    assert [melt.melt for melt in new.melts] == [1, 2, 3, 4, 5]
    assert [melt.order for melt in new.melts] == [1, 2, 3, 4, 5]
    assert read_plan(series) == new


def test_the_same_plan_may_be_written_again(tmp_path):
    series = bench_series(tmp_path)
    plan = write_plan(series, bench_plan(series))
    record_melt(series, 1, seen=GOOD)
    assert write_plan(series, bench_plan(series)) == plan


def test_a_plan_that_would_change_a_melt_already_made_is_refused(tmp_path):
    series = bench_series(tmp_path)
    write_plan(series, bench_plan(series))
    record_melt(series, 2, seen=GOOD)
    before = snapshot(tmp_path)
    with pytest.raises(ProblemsFound, match=r"melt 2 is already in the log .* number the new melts from 3"):
        write_plan(series, bench_plan(series, flux=25.0))
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (settings(40, 1250), "breaks the limit"),
        (settings(float("nan")), "outside its range"),
        (settings(sand="gravel"), "none of its options"),
    ],
)
def test_a_plan_that_is_not_sound_is_not_written(tmp_path, wrong, said):
    series = bench_series(tmp_path)
    plan = bench_plan(series, melts=1)
    with pytest.raises(ProblemsFound, match=said):
        write_plan(series, replace(plan, melts=(replace(plan.melts[0], settings=wrong),)))
    assert snapshot(tmp_path) == {}


def test_ranges_narrowed_later_are_not_asked_of_melts_already_made(tmp_path):
    series = bench_series(tmp_path)
    write_plan(series, bench_plan(series, melts=2))
    record_melt(series, 1, seen=GOOD)
    narrower = replace(series, factors=(replace(series.factors[0], low=30), *series.factors[1:]))
    with pytest.raises(ProblemsFound) as found:
        read_plan(narrower)
    assert [problem.line for problem in found.value.problems] == [3]


def test_a_plan_cut_off_before_its_table_was_written_is_not_lost(tmp_path, monkeypatch):
    series = bench_series(tmp_path)
    write_plan(series, bench_plan(series))

    def killed(path, content):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(plan_csv, "write_file", killed)
        with pytest.raises(KeyboardInterrupt):
            write_plan(series, bench_plan(series, melts=2, flux=30.0))
    assert [melt.settings["flux"] for melt in read_plan(series).melts] == [30.0, 31.0]


def test_a_plan_edited_by_hand_is_kept_when_another_is_drawn_up(tmp_path, caplog):
    series = bench_series(tmp_path)
    write_plan(series, bench_plan(series))
    write_plan(series, bench_plan(series))
    assert not list(tmp_path.glob("plan-set-aside-*")), "what the journal holds needs no copy"
    path = tmp_path / "plan.csv"
    edited = path.read_bytes() + b" \n"
    path.write_bytes(edited)
    told = logging.getLogger("meltdoe")
    with mock.patch.object(told, "propagate", True), mock.patch.object(told, "handlers", []):
        write_plan(series, bench_plan(series))
    (kept,) = tmp_path.glob("plan-set-aside-*.csv")
    assert kept.read_bytes() == edited
    assert kept.name in caplog.text
