"""Truths that the user states: the chances said are the chances had, and a file's faults are told one line each."""

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.special import expit, logit

from meltdoe.errors import ProblemsFound
from meltdoe.files.series.truth_toml import read_truth
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.rehearsal.simulated_series import rehearse
from meltdoe.rehearsal.stated_truth import StatedOutcome, StatedTruth
from meltdoe.series import Amount, Budget, Choice, GoodRange, MeltSeries, Ordered, Outcome
from meltdoe.series.outcome import Unseen

SERIES = MeltSeries(
    "invented",
    (
        Amount("flux", 10, 30, unit="wt%", step=1),
        Amount("hold", 1, 4, unit="h", scale="log"),
        Choice("sand", ("wet", "dry", "hot")),
        Ordered("packing", ("loose", "firm", "hard")),
    ),
    (
        Outcome("contained", "pass"),
        Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=80)),
        Outcome("cracks", "grade", grades=("none", "few", "many", "all"), after="fill", good=("none", "few")),
        Outcome("colour", "grade", grades=("green", "brown"), after="contained"),
    ),
    budget=Budget(melts=6),
    target_chance=0.6,
    seed=2,
)
FILE = """
title = "supposed"
[[outcome]]
name = "contained"
at = { flux = 20, sand = "wet" }
chance = 0.8
log_odds = { hold = -2.0, sand = { dry = 0.5 } }
chances = { flux = [0.9, 0.6] }

[[outcome]]
name = "fill"
at = { flux = 10, hold = "60 min", sand = "wet" }
chance = 0.5
chances = { sand = { wet = 0.5, dry = 0.7, hot = 0.4 }, packing = [0.3, 0.9] }
log_odds = { flux = 3 }
together = { "flux * packing" = 1.5 }
spread = 3

[[outcome]]
name = "cracks"
chance = 0.9
firing_sd = 1.0
"""


def written(tmp_path, text):
    file = tmp_path / "truth.toml"
    file.write_text(text, encoding="utf-8")
    return file


def chance_of(truth, name, **settings):
    """Chance of one outcome, the others taken out."""
    (stated,) = [one for one in truth.outcomes if one.name == name]
    raw = truth.series.raw({"flux": 20, "hold": 2, "sand": "wet", "packing": "firm", **settings})
    return float(StatedTruth(truth.series, (stated,)).chance(raw[None])[0])


def test_chances_are_as_stated(tmp_path):
    truth = read_truth(written(tmp_path, FILE), SERIES)
    assert chance_of(truth, "contained") == pytest.approx(0.8)
    assert chance_of(truth, "contained", flux=10) == pytest.approx(0.9)
    assert chance_of(truth, "contained", flux=30) == pytest.approx(0.6)
    halfway = expit((logit(0.8) + logit(0.6)) / 2)
    assert chance_of(truth, "contained", flux=25) == pytest.approx(halfway), "straight lines in log odds between points"
    assert chance_of(truth, "contained", hold=1) == pytest.approx(expit(logit(0.8) + 1.0))
    assert chance_of(truth, "contained", hold=4) == pytest.approx(expit(logit(0.8) - 1.0)), (
        "hold counts on its log scale"
    )
    assert chance_of(truth, "contained", sand="dry") == pytest.approx(expit(logit(0.8) + 0.5))
    assert chance_of(truth, "contained", sand="hot") == pytest.approx(0.8)
    here = {"flux": 10, "hold": 1}
    assert chance_of(truth, "fill", **here, sand="hot") == pytest.approx(0.4)
    assert chance_of(truth, "fill", **here, packing="loose") == pytest.approx(0.3)
    assert chance_of(truth, "fill", **here, packing="hard") == pytest.approx(0.9)
    # packing is 1 above its middle, half its range; flux its whole range: 1.5 / 2 on top of both effects
    both = chance_of(truth, "fill", hold=1, flux=30, packing="hard")
    assert both == pytest.approx(expit(logit(0.9) + 3.0 + 0.75))
    assert chance_of(truth, "cracks") == pytest.approx(
        np.mean(expit(logit(0.9) + np.random.default_rng(0).normal(size=200_000))), abs=0.002
    )


def test_what_is_seen_comes_as_often_as_stated(tmp_path):
    """4,000 firings of one melt: each outcome within four standard errors of its chance."""
    truth = read_truth(written(tmp_path, FILE), SERIES)
    settings = {"flux": 15.0, "hold": 1.5, "sand": "dry", "packing": "firm"}
    melts = [PlannedMelt(i, i, i, settings, "") for i in range(1, 4001)]
    entries = truth.melted(melts, np.random.default_rng(1))
    left = entries
    for name in ("contained", "fill", "cracks"):
        good = [SERIES.outcome(name).is_good(entry.seen[name]) for entry in left]
        chance = chance_of(truth, name, **settings)
        assert np.mean(good) == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / len(good))), name
        left = [entry for entry, was in zip(left, good, strict=True) if was]
    assert len(left) / 4000 == pytest.approx(float(truth.chance(SERIES.raw(settings)[None])[0]), abs=0.03)
    fills = [entry.seen["fill"] for entry in entries if isinstance(entry.seen["fill"], float)]
    assert min(fills) >= 0.0
    assert max(fills) <= 100.0
    assert len(set(fills)) > 1000
    assert {entry.seen["cracks"] for entry in entries} == {Unseen.NOT_REACHED, "none", "few", "many", "all"}
    assert {entry.seen["colour"] for entry in entries} == {Unseen.NOT_REACHED, Unseen.LOST}, "only described"


def test_melts_of_a_firing_share_their_luck(tmp_path):
    series = MeltSeries("invented", SERIES.factors, (Outcome("whole", "pass"),), seed=1)
    truth = StatedTruth(series, (StatedOutcome("whole", 0.0, (20.0, 2.0, 0.0, 1.0), firing_sd=6.0),))
    settings = {"flux": 20.0, "hold": 2.0, "sand": "wet", "packing": "firm"}
    melts = [PlannedMelt(i, 1 + i // 2, i, settings, "") for i in range(400)]
    seen = np.array([entry.seen["whole"] for entry in truth.melted(melts, np.random.default_rng(3))]).reshape(-1, 2)
    assert np.mean(seen[:, 0] == seen[:, 1]) > 0.75
    assert 0.35 < seen.mean() < 0.65


def test_a_good_range_with_two_ends_is_missed_on_both_sides():
    outcome = Outcome("skin", "measured", unit="%", good=GoodRange(10, 20))
    series = MeltSeries("invented", SERIES.factors, (outcome,), seed=1)
    truth = StatedTruth(series, (StatedOutcome("skin", logit(0.6), (20.0, 2.0, 0.0, 1.0), spread=2.0),))
    raw = np.tile([20.0, 2.0, 0.0, 1.0], (3000, 1))
    seen = np.array(truth.values(outcome, raw, list(range(3000)), np.random.default_rng(2)))
    assert np.mean((seen >= 10) & (seen <= 20)) == pytest.approx(0.6, abs=0.04)
    assert np.mean(seen < 10) == pytest.approx(0.2, abs=0.03)


def test_a_stated_truth_is_rehearsed_from_the_first_melt(tmp_path):
    truth = read_truth(written(tmp_path, FILE), SERIES)
    played = rehearse(SERIES, truth=truth, count=2, policy="random")
    assert played.source == "stated"
    assert {one.reachable for one in played.played} == {played.played[0].reachable}


FAULTS = {
    'name = "contained"': ('name = "containd"', r'"containd", which is not one of .*; write "contained"'),
    "flux = 20, sand": ("flux = 99, sand", r"flux = 99 wt% lies outside the range 10 to 30 wt%"),
    "chance = 0.8": ("chance = 1", r'"contained": "chance" is 1; write a number between 0 and 1'),
    "hold = -2.0": ("hold = 99", r'"hold" is 99; log odds lie within 50 of 0'),
    "sand = { dry = 0.5 }": ("sand = 0.5", r'"sand" is a choice; write a number per option'),
    "dry = 0.5 ": ("drey = 0.5 ", r'"drey" is no option of sand; write "dry"'),
    "flux = [0.9, 0.6]": ("flux = 0.9", r'"flux" holds no pair of chances'),
    "[0.9, 0.6]": ("[0.9, 1.6]", r'"flux" holds 1.6; write chances above 0 and below 1'),
    "chances = { flux": ("chances = { flox", r'"flox" is no factor; write "flux"'),
    "{ flux = [": ("{ hold = [", r"hold stands under log_odds as well"),
    "wet = 0.5, dry": ("wet = 0.6, dry", r'"wet" says 0.6 at the setting `at`, where the chance is 0.5'),
    ", hot = 0.4 }": (" }", r'nothing is said of "hot"'),
    '"flux * packing"': ('"flux * sand"', r'"sand" is a choice; name two amounts or ordered factors'),
    "{ \"flux * packing\"": ("{ \"flux\"", r'"flux" is no product of two factors'),
    "spread = 3": ("spraed = 3", r'the key "spraed" is not known; write "spread"'),
    "firing_sd = 1.0": ("firing_sd = -1", r'"firing_sd" is -1'),
    'name = "cracks"': ('name = "fill"', r'"fill" has a block already'),
    'title = "supposed"': ("title = supposed", r"has a value that cannot be read"),
}  # fmt: skip


@pytest.mark.parametrize("right", FAULTS)
def test_each_fault_is_one_line_that_names_its_place(right, tmp_path):
    wrong, told = FAULTS[right]
    assert FILE.count(right) == 1
    with pytest.raises(ProblemsFound) as found:
        read_truth(written(tmp_path, FILE.replace(right, wrong)), SERIES)
    lines = [str(problem) for problem in found.value.problems]
    assert len(lines) == 1, lines
    assert re.search(told, lines[0]), lines
    assert re.match(r"truth\.toml, line \d+: ", lines[0])
    assert "; " in lines[0]


def test_an_outcome_left_out_and_a_file_that_is_not_there(tmp_path):
    with pytest.raises(ProblemsFound, match='nothing is said of the outcome "cracks"'):
        read_truth(written(tmp_path, FILE[: FILE.index('[[outcome]]\nname = "cracks"')]), SERIES)
    with pytest.raises(ProblemsFound, match="there is no file"):
        read_truth(Path(tmp_path / "none.toml"), SERIES)
    (tmp_path / "truth.toml").write_bytes(b'title = "\xff"')
    with pytest.raises(ProblemsFound, match="line 1: holds a character that is not written in UTF-8"):
        read_truth(tmp_path / "truth.toml", SERIES)
