"""Long stories of invented makers, as they were first played at a terminal: what is kept and what is said."""

import csv

import pytest
from running import called, on_disk

SERIES = """\
title = "Grey rock (invented scenario)"
target_chance = 0.6
seed = 11
[budget]
melts = 16
[kiln]
melts_per_firing = 1
[[factor]]
name = "peak"
kind = "amount"
unit = "°C"
low = 1100
high = 1240
step = 20
[[factor]]
name = "flux"
kind = "amount"
unit = "wt%"
low = 10
high = 30
step = 0.5
[[factor]]
name = "pattern"
kind = "choice"
options = ["slab", "block"]
[[outcome]]
name = "contained"
kind = "pass"
[[outcome]]
name = "poured"
kind = "pass"
after = "contained"
[[circumstance]]
name = "kiln"
options = ["old", "new"]
[[circumstance]]
name = "lot"
options = ["A", "B"]
"""
NEW_FACTOR = """
[[factor]]
name = "cobalt"
kind = "amount"
unit = "wt%"
low = 0
high = 2
step = 1
"""
MISHAPS = (
    (("kiln=old", "lot=A"), ("contained=no",), "boil-over"),
    (("kiln=old", "lot=A"), ("contained=yes", "poured=yes"), "leak at the lid"),
    (("kiln=old", "lot=A"), ("contained=yes", "poured=lost"), "kiln died half way"),
    (("kiln=new", "lot=A"), ("contained=yes", "poured=no"), "kiln replaced"),
    (("kiln=new", "lot=B", "flux=13"), ("contained=yes", "poured=no"), "new lot of rock"),
)
SIX_ATTEMPTS = """\
Try;Soda added;Oven went to;Pattern;Stayed in pot;Came out;Remarks
1;10,5;1120;slab;yes;no;did not move
2;12,5;1180;slab;yes;no;stiff
3;14;1150;slab;yes;;forgot to write
4;16,5;1140;slab;yes;no;
5;30;1240;slab;no;;pot leaked
6;17,5;1160;slab;yes;no;"honey, cold"
"""
HEADINGS = ("Try=melt", "Soda added=flux", "Oven went to=peak", "Stayed in pot=contained", "Came out=poured")
MATCHED = [word for heading in (*HEADINGS, "Remarks=note") for word in ("--column", heading)]


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "series.toml").write_text(SERIES, encoding="utf-8")
    return tmp_path


def rows(folder):
    return list(csv.DictReader((folder / "log.csv").read_text(encoding="utf-8-sig").splitlines()))


def test_every_mishap_of_a_planned_series_is_kept_and_a_factor_added_half_way_loses_nothing(folder):
    assert called("plan", folder).code == 0
    for melt, (settings, seen, note) in enumerate(MISHAPS, start=1):
        words = [word for pair in settings for word in ("--set", pair)]
        words += [word for pair in seen for word in ("--seen", pair)]
        ran = called("record", folder, "--melt", melt, *words, "--note", note)
        assert ran.code == 0, ran.err
    assert [(row["kiln"], row["lot"], row["contained"], row["poured"], row["note"]) for row in rows(folder)] == [
        ("old", "A", "no", "", "boil-over"),
        ("old", "A", "yes", "yes", "leak at the lid"),
        ("old", "A", "yes", "lost", "kiln died half way"),
        ("new", "A", "yes", "no", "kiln replaced"),
        ("new", "B", "yes", "no", "new lot of rock"),
    ]
    assert rows(folder)[4]["flux"] == "13"
    with (folder / "series.toml").open("a", encoding="utf-8") as series:
        series.write(NEW_FACTOR)
    before = on_disk(folder)
    ran = called("check", folder)
    assert ran.code == 1
    told = ran.out + ran.err
    assert "plan.csv, line 1" in told
    assert "log.csv, line 1" in told
    assert 'the column "cobalt" is missing' in told
    assert on_disk(folder) == before


def test_six_half_noted_failures_with_odd_headings_come_in_once_the_gap_is_said(folder):
    notes = folder / "old.csv"
    notes.write_text(SIX_ATTEMPTS, encoding="utf-8")
    before = on_disk(folder)
    unmatched = called("record", folder, "--from", notes, "--preview")
    assert unmatched.code == 1
    assert "--column" in unmatched.err
    gap = called("record", folder, "--from", notes, "--as-shown", *MATCHED)
    assert gap.code == 1
    assert "line 4: melt 3 leaves poured blank, though contained was yes" in gap.err
    assert on_disk(folder) == before
    notes.write_text(SIX_ATTEMPTS.replace("yes;;forgot", "yes;lost;forgot"), encoding="utf-8")
    brought = called("record", folder, "--from", notes, "--as-shown", *MATCHED)
    assert brought.code == 0, brought.err
    assert [row["poured"] for row in rows(folder)] == ["no", "no", "lost", "no", "", "no"]
    assert [float(row["flux"]) for row in rows(folder)] == [10.5, 12.5, 14, 16.5, 30, 17.5]
    assert rows(folder)[5]["note"] == "honey, cold"
