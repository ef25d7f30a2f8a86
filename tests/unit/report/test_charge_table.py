"""What went into the crucibles, in the report: as noted where somebody noted it, else from recipe and settings."""

from dataclasses import replace

import pytest
from invented_reports import one_amount, whole_chain

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.report.charge_table import charge_table, made_of, to_weigh
from meltdoe.report.report_files import report_files
from meltdoe.report.schedule_table import schedule_table
from meltdoe.series import Amount, Circumstance, MeltSeries, Outcome
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import OwnMaterial, Part, Recipe
from meltdoe.units import Quantity

ROCK = {"SiO2": 75.0, "Al2O3": 13.5, "FeO": 1.5, "MgO": 0.2, "CaO": 0.9, "Na2O": 4.2, "K2O": 4.7}  # no water
SERIES = MeltSeries(
    "Invented",
    (Amount("peak", 1100, 1240, unit="°C", set_per="firing"), Amount("flux", 10, 26, unit="wt%")),
    (Outcome("poured", "pass"),),
    circumstances=(Circumstance("weighed"),),
    recipe=Recipe(
        "rock", parts=(Part(parse_expression("flux"), "soda ash"),), charge=Quantity(1, "kg"), weighed="weighed"
    ),
    materials=(OwnMaterial("rock", analysis=ROCK),),
)


def log_of(*weighed, series=SERIES):
    entries = (
        Entry(
            i,
            i,
            {"peak": 1200.0, "flux": 20.0},
            {"poured": i % 2 == 0},
            circumstances={"weighed": text} if text else {},
        )
        for i, text in enumerate(weighed, 1)
    )
    return Log(series, tuple(entries))


def rows_of(log):
    found = charge_table(log)
    return [dict(zip((c.title for c in found.columns), row, strict=True)) for row in found.rows]


def test_weights_follow_from_the_settings_where_nothing_was_noted():
    row = rows_of(log_of(""))[0]
    assert (row["rock (g)"], row["soda ash (g)"], row["whole charge (g)"]) == ("800", "200", "1000")
    assert row["known from"] == "the settings"
    # soda ash loses its carbon dioxide: 44.01 of 105.99 (molar masses), so 1000 - 200 * 44.01 / 105.99
    assert float(row["glass from it (g)"]) == pytest.approx(1000 - 200 * 44.01 / 105.99, abs=0.5)


def test_what_was_noted_counts_as_it_was_noted():
    noted, told = rows_of(log_of("rock 640 g, soda ash 0.15 kg", ""))
    assert (noted["rock (g)"], noted["soda ash (g)"], noted["whole charge (g)"]) == ("640", "150", "790")
    assert noted["known from"] == "the log"
    assert told["whole charge (g)"] == "1000"


def test_a_note_that_cannot_be_read_says_so_and_spares_the_others():
    odd, other = rows_of(log_of("about a spoonful", ""))
    assert odd["whole charge (g)"] == odd["glass from it (g)"] == ""
    assert odd["known from"].startswith("not known: ")
    assert other["whole charge (g)"] == "1000"


def test_a_material_of_unknown_make_has_weights_but_no_glass():
    row = rows_of(log_of("rock 640 g, grandmother's powder 20 g"))[0]
    assert row["grandmother's powder (g)"] == "20"
    assert row["whole charge (g)"] == "660"
    assert row["glass from it (g)"] == ""


def test_castings_of_one_melt_share_a_row_and_many_materials_a_column():
    log = log_of("", "")
    one, two = log.entries
    assert len(charge_table(replace(log, entries=(one, replace(two, melt=1, mould=2)))).rows) == 1
    many = ", ".join(f"powder {n} 10 g" for n in "abcdefg")
    found = charge_table(log_of(many))
    assert [column.title for column in found.columns][:2] == ["Melt", "Weighed"]
    assert "powder a 10 g; powder b 10 g" in found.rows[0][1]


def test_no_table_without_a_recipe_or_melts():
    assert charge_table(whole_chain().log) is None
    assert charge_table(log_of()) is None
    assert to_weigh(whole_chain().log, whole_chain().log.raw[0]) == ""


def test_what_to_copy_names_the_weights_in_their_order():
    log = log_of("")
    said = to_weigh(log, log.raw[0])
    assert said.startswith("To weigh for one melt at this setting: rock 800 g, then soda ash 200 g; together 1000 g")
    assert made_of(log, log.raw[0]) == "Into the crucible goes, by weight: rock 80 %, soda ash 20 %."


def test_the_schedule_to_copy_runs_from_a_cold_kiln_to_a_cold_casting():
    held = Amount("hold", 2, 8, unit="h", set_per="firing")
    series = replace(
        SERIES, factors=(*SERIES.factors, held), recipe=replace(SERIES.recipe, pours_at="peak", held_for="hold")
    )
    chain = fit_chain(series, Log(series))
    best = replace(chain.best(), settings={"peak": 1200.0, "flux": 20.0, "hold": 3.0})
    found = schedule_table(chain.log, best)
    rows = {row[1]: row for row in found.rows}
    assert found.rows[0][0] == "0:00 h"
    assert rows["hold"][2:4] == ("1200 °C", "3:00 h")
    pour = [int(part) for part in rows["pour"][0].removesuffix(" h").split(":")]
    start = [int(part) for part in rows["hold"][0].removesuffix(" h").split(":")]
    assert pour == [start[0] + 3, start[1]]
    assert "common practice" in found.note
    assert schedule_table(one_amount().log, one_amount().best()) is None  # nothing says how hot it is poured


@pytest.mark.parametrize(("reader", "shown"), [("maker", True), ("journal", True), (None, True), ("gallery", False)])
def test_the_weights_stand_on_the_pages_of_those_who_need_them(reader, shown):
    chain = fit_chain(SERIES, log_of("rock 640 g, soda ash 150 g", "", ""), effort="draft")
    from invented_reports import advice_for

    files = report_files(chain, None, advice_for(chain), reader=reader)
    page = next(text for name, text in files.items() if name.endswith(".html"))
    assert ("What went into each crucible" in page) is shown
    assert ("To weigh for one melt at this setting" in page) is shown
