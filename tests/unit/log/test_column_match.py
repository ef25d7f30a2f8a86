"""Headings of a table from elsewhere."""

from meltdoe.log.column_match import Target, match_columns, nearest

TARGETS = (
    Target("melt", ("melt number", "no")),
    Target("flux", ("Flux share of the charge",), "wt%"),
    Target("peak", ("Peak temperature",), "°C"),
    Target("contained", ("Did the charge stay in the crucible?",)),
    Target("note", ("notes", "remarks")),
)


def names(match):
    return {column.heading: (column.name, column.way) for column in match.matched}


def test_headings_are_matched_by_name_then_word_then_label_then_likeness():
    match = match_columns(
        ["melt", "FLUX", "Peak temperature [°C]", "did the charge stay in the crucible", "Remark", "colour"], TARGETS
    )
    assert names(match) == {
        "melt": ("melt", "exact"),
        "FLUX": ("flux", "same word"),
        "Peak temperature [°C]": ("peak", "label"),
        "did the charge stay in the crucible": ("contained", "label"),
        "Remark": ("note", "likeness"),
    }
    assert match.unmatched == ("colour",)
    assert match.doubtful == ()


def test_a_unit_in_the_heading_is_kept_where_it_is_another():
    match = match_columns(["peak (°F)", "flux, wt%"], TARGETS)
    assert [(column.name, column.unit) for column in match.matched] == [("peak", "°F"), ("flux", "")]


def test_a_closer_heading_goes_first():
    match = match_columns(["Flux", "flux"], TARGETS)
    assert names(match) == {"flux": ("flux", "exact")}
    assert match.unmatched == ("Flux",)


def test_two_headings_for_one_column_are_doubtful():
    match = match_columns(["notes", "remarks"], TARGETS)
    assert match.matched == ()
    assert match.doubtful == ('note can be "notes" or "remarks"',)


def test_one_heading_for_two_columns_is_doubtful():
    match = match_columns(["fill percentage"], (Target("fill_percentage_a"), Target("fill_percentage_b")))
    assert match.matched == ()
    assert match.doubtful == ('"fill percentage" can be fill_percentage_b or fill_percentage_a',)


def test_what_the_user_settles_goes_before_everything():
    match = match_columns(["notes", "remarks", "colour"], TARGETS, {"remarks": "note", "notes": "", "colour": "flux"})
    assert names(match) == {"remarks": ("note", "told"), "colour": ("flux", "told")}
    assert match.unmatched == ("notes",)


def test_nearest_finds_the_word_that_was_meant_or_none():
    assert nearest("contaned", ["contained", "fill"]) == "contained"
    assert nearest("zzz", ["contained", "fill"]) is None


def test_the_nearest_word_is_another_word_for_it_or_a_slip_and_never_a_chance_likeness():
    columns = ["melt", "date", "peak", "flux", "note"]
    assert nearest("remark", columns) == "note"
    assert nearest("Comments", columns) == "note"
    assert nearest("remark", ["peak", "flux"]) is None
    assert nearest("day", columns) == "date"
    assert nearest("flax", columns) == "flux"
    assert nearest("containd", ["contained", "poured"]) == "contained"
    assert nearest("colour", columns) is None
    assert nearest("heat", ["heat", "firing"]) == "heat", "a name of its own goes first"


def test_a_name_among_other_words_and_a_label_cut_short_are_guessed():
    headings = ["actual flux", "peak temp", "Stayed in crucible", "colour of the day"]
    assert names(match_columns(headings, TARGETS)) == {
        "actual flux": ("flux", "likeness"),
        "peak temp": ("peak", "likeness"),
        "Stayed in crucible": ("contained", "likeness"),
    }
    assert match_columns(["peak flux"], TARGETS).doubtful == ('"peak flux" can be peak or flux',)


def test_a_unit_behind_the_words_is_a_unit_without_brackets_too():
    match = match_columns(["Peak °F", "flux_wt%", "melt_no"], TARGETS)
    assert [(column.name, column.way, column.unit) for column in match.matched] == [
        ("peak", "same word", "°F"),
        ("flux", "same word", ""),
        ("melt", "likeness", ""),
    ]
