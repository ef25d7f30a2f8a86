"""What the report says: tables, deviations, what is not known, methods, and where it came from."""

import hashlib
import platform
from dataclasses import replace

import pytest
from invented_reports import (
    CHAIN_SERIES,
    HOSTILE_NOTE,
    ROWS,
    Page,
    advice_for,
    case_of,
    chain_log,
    chain_plan,
    forty_factors,
    forty_plan,
    hostile,
    nothing_melted,
    only_described,
    only_failures,
    page_for,
    pictures_for,
    two_amounts,
    two_level_plan,
    whole_chain,
)

import meltdoe
from meltdoe.fit.stages.phrases import percent
from meltdoe.plans.melt_plan import MELT_BY_MELT, PROPOSED, Plan, PlannedMelt
from meltdoe.plans.merits.assessment import assess
from meltdoe.report.deviations import deviation_sentences, moved
from meltdoe.report.html import report_page
from meltdoe.report.methods import REFERENCES, in_text, methods
from meltdoe.report.provenance import provenance
from meltdoe.report.result_tables import (
    effect_table,
    next_table,
    predicted_table,
    setting_table,
    stage_table,
)
from meltdoe.report.sections import report_of
from meltdoe.report.tables import (
    Column,
    Table,
    factor_table,
    melt_table,
    mixed_table,
    outcome_table,
    plan_table,
    precision_table,
)


@pytest.fixture(scope="module")
def report():
    return report_of(whole_chain(), chain_plan(), advice_for(whole_chain()), ())


def row_of(table, head):
    return next(dict(zip([c.title for c in table.columns], row, strict=True)) for row in table.rows if row[0] == head)


def test_every_row_of_every_table_has_a_cell_for_every_column():
    chain, plan = whole_chain(), chain_plan()
    best, assessment = chain.best(), assess(plan)
    tables = [
        factor_table(chain.series), outcome_table(chain.series), plan_table(plan), precision_table(assessment),
        mixed_table(assessment), melt_table(chain.log, plan), setting_table(chain.series, best),
        stage_table(chain, best), predicted_table(chain), next_table(chain.series, advice_for(chain)),
        *(effect_table(stage) for stage in chain.stages),
        plan_table(forty_plan()), melt_table(hostile().log, None), effect_table(only_described().stages[0]),
    ]  # fmt: skip
    for table in tables:
        if table is not None:
            assert table.caption
            assert all(len(row) == len(table.columns) for row in table.rows)
            assert all(isinstance(cell, str) for row in table.rows for cell in row)


def test_the_melts_stand_with_actual_settings_and_what_was_planned():
    third = row_of(melt_table(chain_log(), chain_plan()), "3")
    assert third["peak (°C)"] == "1225 (planned 1240)"
    assert third["flux (wt%)"] == "12"
    assert third["contained"] == "no"
    assert third["cracks"] == "not reached"
    assert third["All good"] == "no"
    assert row_of(melt_table(chain_log(), None), "3")["peak (°C)"] == "1225"


def test_the_four_states_of_an_outcome_are_kept_apart():
    table = melt_table(chain_log(), None)
    assert row_of(table, "6")["cracks"] == "later"
    assert row_of(table, "6")["All good"] == "not known"
    assert row_of(table, "5")["seeds"] == "lost"
    assert row_of(table, "1")["fill (%)"] == "70"


def test_a_column_that_says_nothing_is_left_out():
    table = Table("t", (Column("a"), Column("b"), Column("c")), (("", "", "1"), ("", "", "2")))
    assert table.without_empty_columns().columns == (Column("a"), Column("c"))
    assert "Date" not in [c.title for c in melt_table(hostile().log, None).columns]


def test_forty_factors_share_one_column():
    table = melt_table(forty_factors().log, None)
    assert [c.title for c in table.columns] == ["Melt", "Firing", "Settings", "whole", "All good"]
    assert table.rows[0][2].count("factor") == 40


def test_dust_of_arithmetic_is_no_deviation():
    assert moved(CHAIN_SERIES, {"peak": 0.1 + 0.2}, {"peak": 0.3}) == ()
    assert moved(CHAIN_SERIES, {"peak": 1180.0, "grain": "fine"}, {"peak": 1180.0, "grain": "coarse"}) == ("grain",)


def test_an_effect_stands_with_both_fits():
    stage = whole_chain().stage("contained")
    table = effect_table(stage)
    flux = next(effect for effect in stage.effects if effect.label == "flux")
    row = row_of(table, f"flux: {flux.from_setting} → {flux.to_setting}")
    assert row["Chance of good"] == f"{percent(flux.chance_from)} → {percent(flux.chance_to)}"
    assert row["Classical estimate"].startswith(f"{flux.estimate:+.2f} ({flux.low:+.2f} to {flux.high:+.2f}")
    assert row["Matters"] == percent(flux.inclusion)


def test_where_nothing_can_be_told_apart_no_number_is_printed():
    assert effect_table(forty_factors().stages[0]) is None
    assert precision_table(assess(forty_plan())) is None


def test_mixed_up_effects_are_named_by_their_factors():
    """Half of all combinations, fine wherever peak and flux stand alike: grain = peak × flux, and so round."""
    settings = [(1100.0, 12.0, "fine"), (1240.0, 12.0, "coarse"), (1100.0, 26.0, "coarse"), (1240.0, 26.0, "fine")]
    melts = [
        PlannedMelt(i, i, i, dict(zip(CHAIN_SERIES.factor_names, row, strict=True)), "fraction")
        for i, row in enumerate(settings, 1)
    ]
    table = mixed_table(assess(Plan(CHAIN_SERIES, tuple(melts), "fraction")))
    assert table.rows == (("peak", "flux × grain"), ("flux", "grain × peak"), ("grain", "flux × peak"))
    assert mixed_table(assess(two_level_plan(only_described().series))) is None


def test_stages_at_the_best_setting_share_out_all_failures():
    table = stage_table(whole_chain(), whole_chain().best())
    shares = [int(row[3].split()[0]) for row in table.rows]
    assert sum(shares) == pytest.approx(100, abs=2)
    assert [row[0] for row in table.rows] == ["contained", "fill at least 90 %", "cracks none or hairline"]


def test_where_the_melts_left_the_plan(report):
    assert "Melt 3: peak 1225 °C instead of peak 1240 °C." in report.deviations
    assert "Melt 4: peak 1225 °C instead of peak 1240 °C." in report.deviations
    assert "Planned but not made so far: melt 8." in report.deviations
    assert "Made beyond the plan: melt 9." in report.deviations
    assert len(report.deviations) == 4


def test_the_answer_names_setting_risk_and_verdict(report):
    best = advice_for(whole_chain()).best
    assert len(report.answer) == 3
    assert CHAIN_SERIES.show(best.settings) in report.answer[0]
    assert percent(best.chance) in report.answer[0]
    assert "90 % probability" in report.answer[0]
    assert report.answer[2].startswith("Go on: ")
    assert "a chance of 31 %" in report.answer[2]
    assert all(sentence.count(". ") == 0 for sentence in report.answer)


def test_what_is_not_known_is_said(report):
    said = " ".join(report.unknown)
    assert "Cracks of melt 6: not known yet." in said
    assert "Seeds of melt 5: lost, never to be known." in said
    assert any("cannot" in sentence or "never changed" in sentence for sentence in report.unknown)


def test_ranges_and_options_never_tried_are_said():
    entries = tuple(
        replace(e, settings={**e.settings, "flux": 12.0, "grain": "fine"}, seen={"poured": False})
        for e in only_failures().log.entries
    )
    log = replace(only_failures().log, entries=entries)
    found = report_of(replace(only_failures(), log=log), None, advice_for(only_failures()), ())
    assert "flux was never changed: it stood at 12 wt% in every melt." in found.unknown
    assert "grain was never coarse." in found.unknown


def test_exact_limits_stand_beside_small_counts():
    """0.1^(1/3) = 0.464: none of three still allows a chance of up to 54 %."""
    found = report_of(only_failures(), None, advice_for(only_failures()), ())
    assert "0 of 3 were good, which still allows a chance of up to 54 %" in found.counts[0]


def test_before_the_first_melt_the_answer_says_so():
    found = report_of(nothing_melted(), None, advice_for(nothing_melted()), ())
    assert found.answer[0].startswith("No melt has been made yet")
    assert found.melts is None
    assert found.planned is None


def test_without_a_judged_outcome_nothing_is_recommended():
    found = report_of(only_described(), None, None, ())
    assert found.recommended is None
    assert found.next is None
    assert "No outcome of this series is judged" in found.answer[0]


def test_notes_are_kept_in_the_makers_words(report):
    assert report.notes == (("Melt 3", "Leaked at 1210 °C."),)
    assert report_of(hostile(), None, advice_for(hostile()), ()).notes[0] == ("Melt 1", HOSTILE_NOTE)


def test_cautions_come_from_words_and_temperatures_and_defer_last(report):
    hazards = " ".join(row[0] for row in report.cautions.rows)
    assert "silica" in hazards  # crushed obsidian
    assert "alkaline dust" in hazards  # soda ash
    assert "local" in report.cautions.rows[-1][0]


def test_methods_name_what_was_used_and_nothing_else():
    chain = whole_chain()
    found = methods(chain, chain_plan(), ())
    assert found.kinds == {"pass", "grade", "measured"}
    assert any(reference.startswith("Firth") for reference in found.references)
    assert any(reference.startswith("Bedrick") for reference in found.references)
    assert not any(reference.startswith("Lenth") for reference in found.references)
    bare = methods(two_amounts(), None, ())
    assert bare.design == ""
    assert not any(reference.startswith(("Bedrick", "McCullagh", "Kenward", "Box")) for reference in bare.references)
    assert set(found.references) | set(bare.references) <= set(REFERENCES.values())


@pytest.mark.parametrize("case", ["whole chain", "no plan", "only described", "hostile names", "no melts", "planned"])
def test_every_publication_is_named_in_the_text_and_every_name_is_listed(case):
    page = Page(page_for(case))
    chain, plan, _ = case_of(case)
    said = methods(chain, plan, pictures_for(case))
    paragraph = next(text for text in " ".join(page.text("p").split()).split("  ") if "Actual settings were" in text)
    listed = [in_text(reference) for reference in said.references]
    assert listed == sorted(listed, key=str.casefold)
    assert all(name in paragraph for name in listed)
    missing = {in_text(reference) for reference in REFERENCES.values()} - set(listed)
    assert not [name for name in missing if name in paragraph]


def test_names_in_the_text_follow_the_number_of_authors():
    assert in_text(REFERENCES["firth"]) == "Firth 1993"
    assert in_text(REFERENCES["goos"]) == "Goos and Vandebroek 2001"
    assert in_text(REFERENCES["schmidli"]) == "Schmidli et al. 2014"


def test_fingerprints_are_those_of_the_files(tmp_path):
    folder = tmp_path / "my series"
    folder.mkdir()
    (folder / "series.toml").write_bytes(b"")
    (folder / "log.csv").write_bytes(b"melt,firing\n")
    found = provenance(folder, 7)
    # SHA-256 of nothing: FIPS 180-4, its best-known example
    assert found.files[0] == ("series.toml", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")
    assert found.files[1] == ("log.csv", hashlib.sha256(b"melt,firing\n").hexdigest())
    assert [name for name, _ in found.files] == ["series.toml", "log.csv"]
    assert found.command == 'meltdoe report "my series" --seed 7'
    assert dict(found.versions)["meltdoe"] == meltdoe.__version__
    assert dict(found.versions)["Python"] == platform.python_version()
    assert provenance(None, 7).files == ()


def test_the_log_is_given_as_it_stands_in_its_file(report):
    lines = report.log_csv.splitlines()
    assert lines[0].startswith("melt,firing,date,peak,flux,grain,contained,fill,cracks,seeds")
    assert len(lines) == 1 + len(ROWS)


def test_amounts_that_no_melt_kept_to_are_told_once_a_factor():
    log = chain_log()
    drifting = replace(
        log,
        entries=tuple(replace(e, settings={**e.settings, "peak": e.settings["peak"] + e.melt}) for e in log.entries),
    )
    said = deviation_sentences(drifting, chain_plan())
    peak = [sentence for sentence in said if "eak" in sentence]
    assert len(peak) == 1
    planned = {melt.melt for melt in chain_plan().melts}
    made = len(planned & log.melt_numbers)
    assert peak[0].startswith(f"Peak was not as planned in {made} of {made} melts, by at most ")
    assert sum(sentence.startswith("Melt ") for sentence in said) < made


def test_melts_chosen_one_by_one_are_never_said_to_be_drawn_by_lot():
    chain, advice = whole_chain(), advice_for(whole_chain())
    plan = chain_plan()
    later = tuple(replace(melt, purpose=PROPOSED) for melt in plan.melts[4:])
    mixed = replace(plan, melts=(*plan.melts[:4], *later))
    order = " ".join(report_of(chain, mixed, advice, ()).doubts[0].sentences)
    assert "The 4 planned melts made so far" in order
    assert "further melts were chosen later, not drawn by lot" in order
    chosen = replace(plan, design=MELT_BY_MELT, reason="each firing chosen from what was known before it")
    found = report_of(chain, chosen, advice, ())
    assert found.planned is None, "no statistics of a plan that nobody drew up"
    assert not found.methods.randomised
    assert found.doubts[0].sentences[0] == "No: each firing was chosen in the light of those before it."
    for reader in (None, "journal"):
        assert "drawn by lot" not in Page(report_page(found, {}, reader)).text("p")
