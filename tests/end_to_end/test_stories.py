"""Three long stories of invented makers, as they were first played at a terminal: what is kept and what is said.

How the glass behaves is a rule written beside each story, which the maker does not know. Nothing is typed into a table,
and the series file is edited as a person would, by changing or adding lines.
"""

import csv

import pytest
from running import called, on_disk

# ---------------------------------------------------------------------------------------------------------- common


def run(*words, stdin="", code=0):
    ran = called(*words, stdin=stdin)
    assert ran.code == code, ran.err or ran.out
    assert "Traceback" not in ran.err
    return ran


def rows(folder, table="log.csv"):
    return list(csv.DictReader((folder / table).read_text(encoding="utf-8-sig").splitlines()))


def logged(folder, column):
    return [row[column] for row in rows(folder)]


def planned(folder, melt):
    return next(row for row in rows(folder, "plan.csv") if row["melt"] == str(melt))


def change(folder, old, new):
    path = folder / "series.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, old
    path.write_text(text.replace(old, new), encoding="utf-8")


def record(folder, melt, seen, *, settings=(), note=None):
    words = [word for pair in settings for word in ("--set", pair)]
    words += [word for pair in seen for word in ("--seen", pair)]
    return run("record", folder, "--melt", melt, *words, *(("--note", note) if note else ()))


def follow(folder, truth, settings=(), most=12):
    """Take up what `next` proposes, melt it, put it down, until it says to stop; what it said each time."""
    said = []
    for _ in range(most):
        advice = run("next", folder, "--add-to-plan", "--json").document
        said.append(advice)
        if advice["advice"]["verdict"] == "stop":
            return said
        for melt in advice["added"] or [m["planned"] for m in advice["melts"]]:
            record(folder, melt, truth(planned(folder, melt)), settings=settings)
    pytest.fail(f"no end after {most} firings; the last word was: {said[-1]['advice']['reason']}")


# ------------------------------------------------------------------- (a) nothing bought, and every kind of mishap

ANSWERS = (
    "Grey rock dish (invented scenario)", "A dish that pours and stays whole",
    "peak 1120 to 1240 °C step 10 per firing", "flux 12 to 28 wt% step 1", "pattern: plain, ribbed", "",
    "contained", "poured", "", "20", "1", "1260 °C",
)  # fmt: skip
BOUGHT = """
[cost]
melt = 12
firing = 9.5
[cost.loss]
contained = 45

[recipe]
base = "obsidian"
charge = "900 g"
crucible = "1200 ml"
[[part]]
material = "soda ash"
share = "flux"
[[material]]
name = "obsidian"
price = 6
pack = "5 kg"
[[material]]
name = "soda ash"
price = 18.5
pack = "5 kg"
[[supply]]
name = "crucible"
amount = 1
lasts = 2
lost_with = "contained"
price = 18
"""
AFTER_MELT_5 = """
[[factor]]
name = "kiln"
kind = "choice"
options = ["old", "new"]
earlier = "old"
gone = ["old"]
set_per = "firing"

[[factor]]
name = "cobalt"
kind = "amount"
unit = "wt%"
low = 0
high = 1
step = 0.5
earlier = 0

[[part]]
material = "cobalt oxide"
share = "cobalt"

[[material]]
name = "crushed melt 5"
from_melt = 5
stock = "600 g"

[[factor]]
name = "lot"
kind = "choice"
options = ["A", "B"]
earlier = "A"
gone = ["A"]

[[circumstance]]
name = "weighed"
"""


def grey_rock(melt):
    """Much flux boils over or leaks; little flux or heat leaves it too stiff to pour. Pattern and colour do nothing."""
    flux, peak = float(melt["flux"]), float(melt["peak"])
    if flux >= 27:
        return ("contained=no",)
    return ("contained=yes", f"poured={'yes' if flux >= 17 and peak >= 1180 else 'no'}")


def test_a_maker_with_nothing_bought_melts_through_every_mishap_and_ends_with_a_confirmation(tmp_path):
    folder = tmp_path / "dish"
    run("begin", folder, stdin="\n".join(ANSWERS) + "\n")
    change(folder, "target_chance = 0.8", "target_chance = 0.6")
    with (folder / "series.toml").open("a", encoding="utf-8") as series:
        series.write(BOUGHT)
    run("check", folder)
    assert "*: recommended" in run("options", folder, "--rehearsals", "0").out
    run("plan", folder)
    assert len(rows(folder, "plan.csv")) == 8
    assert "crucible" in run("buy", folder).out
    run("sheets", folder)

    # five melts in the old kiln, which dies in the fourth
    record(folder, 1, ("contained=no",), note="boiled over, half of it on the shelf")
    record(folder, 2, ("contained=no",), note="leak at the foot, on to an element")
    record(folder, 3, grey_rock(planned(folder, 3)))
    told = record(folder, 4, ("contained=lost",), settings=("peak=1040",), note="kiln died on the way up")
    assert "peak 1040 °C lies outside 1120 to 1240; if that is a slip" in told.err
    record(folder, 5, ("contained=yes", "poured=no"), settings=("flux=12",), note="stiff; crushed for later")

    # another kiln, a colourant, a new lot of rock, the crushed glass, and a pattern that broke
    change(folder, "# What must never be tried", f"{AFTER_MELT_5}\n# What must never be tried")
    change(folder, 'charge = "900 g"\ncrucible = "1200 ml"\n[[part]]', 'charge = "900 g"\ncrucible = "1200 ml"\n'
           'weighed = "weighed"\n[[part]]')  # fmt: skip
    change(folder, 'options = ["plain", "ribbed"]', 'options = ["plain", "ribbed", "waved"]\ngone = ["plain"]')
    before = on_disk(folder)
    plain_is_left = any(row["pattern"] == "plain" for row in rows(folder, "plan.csv")[5:])
    looked = run("check", folder, code=1 if plain_is_left else 0)
    assert ("or draw up what is still to be melted anew with: meltdoe plan" in looked.err) == plain_is_left
    assert on_disk(folder) == before, "looking changes nothing"
    again = run("plan", folder, "--melts", "3")
    assert "log.csv was without the new columns kiln, cobalt, lot and weighed, and was written again" in again.err
    assert [(row["kiln"], row["cobalt"], row["lot"]) for row in rows(folder)] == [("old", "0", "A")] * 5
    left = rows(folder, "plan.csv")[5:]
    assert {(row["kiln"], row["lot"]) for row in left} == {("new", "B")}
    assert "plain" not in {row["pattern"] for row in left}

    weighed = "weighed=crushed melt 5 600 g, soda ash 75 g, cobalt oxide 3 g"
    record(
        folder, 6, ("contained=yes", "poured=yes"), note="recovered glass melted again with more flux",
        settings=("peak=1240", "flux=20", "cobalt=0.5", weighed),
    )  # fmt: skip
    assert "Flux in all 21" in run("glass", folder, "--melt", "6").out
    record(folder, 7, grey_rock(planned(folder, 7)))
    record(folder, 8, grey_rock(planned(folder, 8)))

    # on from there, melt by melt, to the end
    said = follow(folder, grey_rock)
    assert 10 <= len(rows(folder)) <= 20
    end = said[-1]
    assert end["advice"]["ending"] == "reached"
    for advice in said:
        assert all((melt["settings"]["kiln"], melt["settings"]["lot"]) == ("new", "B") for melt in advice["melts"])
        assert all(melt["settings"]["pattern"] != "plain" for melt in advice["melts"])
    run("next", folder, "--add-to-plan", "--melts", "4")
    confirming = [int(row["melt"]) for row in rows(folder, "plan.csv") if row["purpose"] == "confirmation"]
    assert len(confirming) == 5
    for melt in confirming:
        record(folder, melt, grey_rock(planned(folder, melt)))
    last = run("next", folder)
    assert last.out.startswith("STOP: The target is reached: ")
    assert "5 of 5 good, which proves a chance of at least 63 % without any model" in last.out
    assert "the target of 60 % is confirmed there." in last.out
    assert last.out.rstrip().endswith(f"What is left: meltdoe report {folder}")

    # nothing was lost on the way
    assert logged(folder, "note")[:6] == [
        "boiled over, half of it on the shelf", "leak at the foot, on to an element", "", "kiln died on the way up",
        "stiff; crushed for later", "recovered glass melted again with more flux",
    ]  # fmt: skip
    assert logged(folder, "contained")[:4] == ["no", "no", logged(folder, "contained")[2], "lost"]
    assert logged(folder, "lot") == ["A"] * 5 + ["B"] * (len(rows(folder)) - 5)
    assert logged(folder, "weighed")[5] == weighed.removeprefix("weighed=")
    run("report", folder)
    assert "crushed melt 5" in (folder / "report.html").read_text(encoding="utf-8")


# ------------------------------------------------------------------------------- (b) six half-noted failures brought

SIX_ATTEMPTS = """\
Try;Soda added;Oven went to;Pattern;Stayed in pot;Came out;Remarks
1;10,5;1120;slab;yes;no;did not move
2;12,5;1180;?;yes;no;stiff
3;14;;slab;yes;;forgot to write
4;16,5;1140;slab;yes;no;
5;30;1240;slab;no;;pot leaked
6;17,5;1160;slab;yes;no;"honey, cold"
"""
THEIR_ANSWERS = (
    "Slab from old notes (invented scenario)", "A slab that leaves the pot and fills its mould",
    "peak 1100 to 1240 °C step 20 per firing", "flux 10 to 30 wt% step 0.5", "pattern: slab, block", "",
    "contained", "poured", "", "22", "1", "",
)  # fmt: skip


def honey(melt):
    flux, peak = float(melt["flux"]), float(melt["peak"])
    if flux >= 27:
        return ("contained=no",)
    return ("contained=yes", f"poured={'yes' if flux >= 18 and peak >= 1160 else 'no'}")


@pytest.fixture
def noted(tmp_path):
    """A series set out by questions, and the spreadsheet of its maker beside it."""
    (tmp_path / "old.csv").write_text(SIX_ATTEMPTS, encoding="utf-8")
    folder = tmp_path / "slab"
    run("begin", folder, stdin="\n".join(THEIR_ANSWERS) + "\n")
    change(folder, "target_chance = 0.8", "target_chance = 0.6")
    return folder


def test_a_spreadsheet_with_headings_of_its_own_is_understood_shown_and_brought_in_whole(noted):
    notes, before = noted.parent / "old.csv", on_disk(noted)
    shown = run("record", noted, "--from", notes, "--preview", code=1)
    for heading, column in (("Try", "melt"), ("Soda added", "flux"), ("Oven went to", "peak"), ("Came out", "poured")):
        assert any(line.split() == [*heading.split(), column, "contents"] for line in shown.out.splitlines()), heading
    assert "line 4: melt 3 is not in the plan, and nothing is said of peak; say the setting that was used" in shown.err
    assert "for every such blank at once: --blank lost" in shown.err
    asked = run("record", noted, "--from", notes, "--blank", "lost", code=1)
    assert 'the heading "Soda added" is taken for flux by what stands below it' in asked.err
    assert on_disk(noted) == before, "nothing is written before it is settled"
    said = run("record", noted, "--from", notes, "--blank", "lost", "--as-shown").out
    assert "The budget of 22 melts counts every melt of the series, these too: 6 made, 16 left." in said
    assert logged(noted, "peak")[2] == logged(noted, "pattern")[1] == "unknown"
    assert logged(noted, "poured") == ["no", "no", "lost", "no", "", "no"]
    assert [float(flux) for flux in logged(noted, "flux")] == [10.5, 12.5, 14, 16.5, 30, 17.5]
    assert logged(noted, "note")[5] == "honey, cold"
    assert logged(noted, "firing") == ["1", "2", "3", "4", "5", "6"]


def test_six_half_noted_failures_lead_to_a_setting_that_works(noted):
    run("record", noted, "--from", noted.parent / "old.csv", "--blank", "lost", "--as-shown")
    analysed = run("analyse", noted, "--no-figures").out
    assert "Poured: 0 of 4 were good" in analysed
    assert "Peak of melt 3 is unknown: it counts with its average, and says nothing of what peak does." in analysed
    said = follow(noted, honey, most=16)
    assert said[0]["added"] == [7], "the plan begins behind the old attempts"
    end = said[-1]
    assert end["advice"]["ending"] == "reached"
    assert honey(end["best"]["settings"]) == ("contained=yes", "poured=yes"), "what is recommended truly works"
    planned_more = run("next", noted, "--add-to-plan", "--confirm", "--melts", "2").out
    assert planned_more.count("In the plan now: ") == 2
    assert [row["purpose"] for row in rows(noted, "plan.csv")][-2:] == ["confirmation"] * 2
    run("sheets", noted)


# ------------------------------------------------------------------------------------ (c) what cannot be reached

COLD_KILN = (
    "Basalt tile (invented scenario)", "Nineteen of twenty tiles whole", "peak 1050 to 1150 °C step 10 per firing",
    "flux 5 to 15 wt% step 1", "", "contained", "poured", "whole", "", "12", "1", "1150 °C",
)  # fmt: skip


def test_a_target_that_cannot_be_reached_is_told_early_in_words_to_act_on(tmp_path):
    folder = tmp_path / "tile"
    run("begin", folder, stdin="\n".join(COLD_KILN) + "\n")
    change(folder, "target_chance = 0.8", "target_chance = 0.95")
    assert run("next", folder).out.startswith("GO ON: No melt has been made yet.")
    run("plan", folder)
    heads, decide = [], ""
    for place in range(1, 13):  # the plan holds eight; from there on as the program proposes
        melt = place if place <= 8 else run("next", folder, "--add-to-plan", "--json").document["added"][0]
        record(folder, melt, ("contained=yes", "poured=no"))
        said = run("next", folder).out
        heads.append(said.partition(":")[0])
        if heads[-1] == "DECIDE FIRST" and not decide:
            decide = said
        if heads[-1] == "STOP":
            break
    assert "DECIDE FIRST" in heads[:4], heads
    assert heads[-1] == "STOP", heads
    assert "The target of 95 % is not in sight" in decide
    moving = decide.partition("What would have to move:")[2].partition("\n\n")[0]
    assert "as likely as not, by the melts and by what was assumed before them, no setting within" in moving
    assert "More melts alone would not do: with 30 melts instead of" in moving
    assert "another material, mould or kiln" in moving or "would be with the" in moving
    assert "If you go on all the same: Aim:" in decide
    assert "Out of reach within these ranges and limits" in said
    assert "lower the target" in said
