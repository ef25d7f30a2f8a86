"""What one cell says."""

import pytest

from meltdoe.log.cell_words import clean_text, outcome_cell, read_actual, read_circumstance, read_outcome, read_setting
from meltdoe.log.numbers import CellFault
from meltdoe.series import Amount, Choice, Circumstance, Outcome, Unseen

PASS = Outcome("contained", "pass")
GRADE = Outcome("cracks", "grade", grades=("none", "hair line", "open"))
FILL = Outcome("fill", "measured", unit="%", bounds=(0, 100))
PEAK = Amount("peak", 1100, 1250, unit="°C")
SAND = Choice("sand", ("coarse", "fine", "0.5"))


@pytest.mark.parametrize("word", ["yes", "Y", "TRUE", "1", "pass", " Passed ", "1.0"])
def test_words_for_yes(word):
    assert read_outcome(PASS, word) is True


@pytest.mark.parametrize("word", ["no", "N", "False", "0", "FAIL", "failed", "0,0"])
def test_words_for_no(word):
    assert read_outcome(PASS, word) is False


@pytest.mark.parametrize("outcome", [PASS, GRADE, FILL])
def test_the_three_ways_of_not_having_seen_are_kept_apart(outcome):
    assert read_outcome(outcome, " ") is Unseen.NOT_REACHED
    assert read_outcome(outcome, "Later") is Unseen.LATER
    assert read_outcome(outcome, "LOST") is Unseen.LOST


def test_grades_are_read_in_any_capitals():
    assert read_outcome(GRADE, "Hair_Line") == "hair line"
    with pytest.raises(CellFault, match='write "none"'):
        read_outcome(GRADE, "nome")


def test_measurements_keep_to_their_bounds():
    assert read_outcome(FILL, "80 %") == 80
    assert read_outcome(FILL, "97,5") == 97.5
    for text in ("101", "-1", "lots", "80 mm"):
        with pytest.raises(CellFault, match="fill"):
            read_outcome(FILL, text)


def test_settings_may_lie_beyond_the_planned_range_but_options_must_exist():
    assert read_setting(PEAK, "1300") == 1300
    assert read_setting(PEAK, "2192 °F") == 1200
    assert read_setting(SAND, "FINE") == "fine"
    assert read_setting(SAND, "0,50") == "0.5"
    with pytest.raises(CellFault, match='sand says "fin"'):
        read_setting(SAND, "fin")
    with pytest.raises(CellFault, match="peak is blank"):
        read_setting(PEAK, "")


def test_a_setting_of_a_melt_that_was_made_may_be_unknown():
    for word in ("unknown", "Unknown ", "?", "not known"):
        assert read_actual(PEAK, word) is None
        assert read_actual(SAND, word) is None
    assert read_actual(Choice("rock", ("Unknown", "grey")), "unknown") == "Unknown", (
        "an option of that name comes first"
    )
    assert read_actual(PEAK, "1300") == 1300
    with pytest.raises(CellFault, match="peak is blank; write the setting that was used; or unknown"):
        read_actual(PEAK, "")
    with pytest.raises(CellFault, match="or unknown, where nobody knows it any more"):
        read_actual(SAND, "fin")


@pytest.mark.parametrize(
    ("factor", "possible", "impossible"),
    [
        (Amount("peak", 1150, 1250, unit="°C"), ("20", "1320", "2192 °F"), ("12500", "-300", "-273000")),
        (Amount("flux", 12, 26, unit="wt%"), ("0", "40", "100"), ("-5", "170", "1e9")),
        (Amount("hold", 1, 8, unit="h"), ("0", "72", "160"), ("-1", "161")),
        (Amount("tilt", -5, 5), ("-60", "100"), ("101", "-101")),
    ],
)
def test_a_slip_by_a_power_of_ten_is_no_setting(factor, possible, impossible):
    for text in possible:
        assert isinstance(read_setting(factor, text), float)
    for text in impossible:
        with pytest.raises(CellFault, match=f"{factor.name} says"):
            read_setting(factor, text)


def test_a_setting_on_a_log_scale_must_be_above_nothing():
    with pytest.raises(CellFault, match="log"):
        read_setting(Amount("hold", 1, 8, unit="h", scale="log"), "0")


def test_circumstances_keep_what_was_written():
    assert read_circumstance(Circumstance("pot"), "007") == "007"
    assert read_circumstance(Circumstance("pot"), "7") == 7.0
    assert read_circumstance(Circumstance("humidity", unit="%"), "62 %") == 62
    assert read_circumstance(Circumstance("kiln", options=("old", "new")), "Old") == "old"
    assert read_circumstance(Circumstance("pot"), " ") is None
    with pytest.raises(CellFault, match="humidity"):
        read_circumstance(Circumstance("humidity", unit="%"), "damp")


def test_texts_lose_only_what_cannot_be_kept():
    assert clean_text("  a\r\nb\rc\x00\x07\ud800 \ufeff ") == "a\nb\nc"


def test_measurements_are_written_in_full():
    assert outcome_cell(FILL, 95.123456789) == 95.123456789
    assert outcome_cell(PASS, False) == "no"
    assert outcome_cell(GRADE, Unseen.LATER) == "later"


def test_marks_that_turn_the_order_of_letters_are_not_kept_and_letters_of_every_script_are():
    assert clean_text("a\u202egnp.exe\u202c b\u2066c\u2069") == "agnp.exe bc"
    two_scripts = "\u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627"
    assert clean_text(two_scripts) == two_scripts
