"""`plan` and `options` by their words: kept clear, followed up, judged from a table, compared for an effect."""

import pytest
from running import called

SERIES = """
title = "Invented: five settings of a small kiln"
seed = 3
[budget]
melts = 16
firings = 12
[kiln]
melts_per_firing = 2
[[outcome]]
name = "poured"
kind = "pass"
[cost]
melt = 10.0
firing = 5.0
[cost.loss]
poured = 40.0
""" + "".join(
    f'[[factor]]\nname = "{name}"\nkind = "amount"\nlow = 0\nhigh = 10\nstep = 1\nset_per = "{per}"\n'
    for name, per in [("flux", "melt"), ("peak", "firing"), ("grain", "melt"), ("hold", "melt"), ("sand", "melt")]
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "series.toml").write_text(SERIES, encoding="utf-8")
    return tmp_path


def test_interactions_stay_clear_or_it_is_said_that_none_do(folder):
    done = called("plan", folder, "--keep-clear", "flux * peak", "--melts", "16")
    assert done.code == 0, done.err
    assert "clear of all others, as asked: flux * peak" in " ".join(done.out.split())
    refused = called("plan", folder, "--keep-clear", "flux * peak", "--melts", "8")
    assert refused.code == 1
    assert "there is no fraction of 5 factors in 8 melts that keeps flux * peak clear" in refused.err
    assert len(refused.lines) == 1
    wrong = called("plan", folder, "--keep-clear", "flux")
    assert wrong.code == 2


def test_a_foldover_follows_the_first_part(folder):
    assert called("plan", folder, "--design", "fraction", "--melts", "8").code == 0
    early = called("plan", folder, "--design", "foldover")
    assert early.code == 1
    for melt in range(1, 9):
        assert called("record", folder, "--melt", melt, "--seen", "poured=yes").code == 0
    document = called("plan", folder, "--design", "foldover", "--json").document
    assert len(document["melts"]) == 16
    assert document["design"] == "foldover"
    half = called("plan", folder, "--design", "half-foldover", "--reverse", "flux", "--json").document
    assert len(half["melts"]) == 12


def test_a_table_of_ones_own_is_judged_and_nothing_written(folder):
    rows = ["flux;peak;grain;hold;sand;thought", "0;0;0;0;10;a", "10;0;0;10;0;b", "0;10;0;10;0;c", "10;10;0;0;10;d"]
    rows += ["0;0;10;10;10;e", "10;0;10;0;0;f", "0;10;10;0;0;g", "10;10;10;10;2,5;h"]
    (folder / "own.csv").write_text("\n".join(rows), encoding="utf-8")
    said = called("plan", folder, "--assess", folder / "own.csv")
    assert said.code == 0, said.err
    assert "Efficiency" in said.out
    assert "split passes from failures" in " ".join(said.out.split())
    assert "Without one melt" in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    judged = called("plan", folder, "--assess", folder / "own.csv", "--json").document["judgement"]
    assert judged["efficiencies"]["D"] > 80
    assert 0 < judged["separated_sets"] <= 1
    assert len(judged["leverage"]) == 8
    assert not (folder / "plan.csv").exists()
    (folder / "own.csv").write_text("flux,peak\n1,2\n", encoding="utf-8")
    missing = called("plan", folder, "--assess", folder / "own.csv")
    assert missing.code == 1
    assert [line.split('"')[1] for line in missing.lines] == ["grain", "hold", "sand"]


def test_options_side_by_side_for_an_effect_in_80_columns(folder):
    said = called("options", folder, "--rehearsals", "0", "--chance", "0.5 to 0.9", "--days", "3")
    assert said.code == 0, said.err
    assert max(map(len, said.out.splitlines())) <= 80
    assert "from 0.5 to 0.9" in " ".join(said.out.split())
    wide = called("options", folder, "--rehearsals", "0", "--json").document
    assert 4 <= len(wide["options"]) <= 8
    for option in wide["options"]:
        assert option["days"] == 2 * option["firings"]
        assert option["at_worst"] == pytest.approx(10 * option["melts"] + 5 * option["firings"] + 40 * option["melts"])
    assert called("options", folder, "--chance", "often").code == 2


def test_a_factor_is_left_alone_and_the_melts_are_spread_over_days(folder):
    done = called("plan", folder, "--design", "full", "--hold", "sand = 4", "--hold", "peak", "--blocks", "2", "--json")
    assert done.code == 0, done.err
    melts = done.document["melts"]
    assert {(melt["settings"]["sand"], melt["settings"]["peak"]) for melt in melts} == {(4.0, 5.0)}
    assert [melt["purpose"].rpartition(", ")[2] for melt in melts] == ["block 1"] * 4 + ["block 2"] * 4
    assert "spread over 2 blocks" in done.document["reason"]
    said = called("plan", folder, "--hold", "sand = 4")
    assert "The same in every melt, so that nothing is learnt of it: sand 4." in " ".join(said.out.split())
    wrong = called("plan", folder, "--hold", "sand = 11")
    assert (wrong.code, len(wrong.lines)) == (2, 1)
    assert "write a number from 0 to 10" in wrong.err


def test_blends_of_fluxes_are_planned_from_the_limit_on_their_sum(folder):
    shares = "".join(
        f'[[factor]]\nname = "{name}"\nkind = "amount"\nunit = "wt%"\nlow = 0\nhigh = 20\nstep = 1\nset_per = "melt"\n'
        for name in ("soda", "potash")
    )
    limit = '[[limit]]\nkeep = "soda + potash <= 20"\nwhy = "borax is the rest of the flux"\n'
    (folder / "series.toml").write_text(SERIES.partition("[[factor]]")[0] + shares + limit, encoding="utf-8")
    drawn = called("plan", folder, "--design", "mixture", "--json").document
    assert sorted((m["settings"]["soda"], m["settings"]["potash"]) for m in drawn["melts"]) == [
        (0, 0), (0, 10), (0, 20), (7, 7), (10, 0), (10, 10), (20, 0)
    ]  # fmt: skip
    offered = called("options", folder, "--json").document["options"]
    assert "mixture" in [option["design"] for option in offered]


def test_long_lists_of_what_is_mixed_up_are_cut_and_shown_whole_on_request(tmp_path):
    factors = "".join(
        f'[[factor]]\nname = "x{i}"\nkind = "amount"\nlow = 0\nhigh = 10\nset_per = "melt"\n' for i in range(15)
    )
    (tmp_path / "series.toml").write_text(SERIES.partition("[[factor]]")[0] + factors, encoding="utf-8")
    short, whole = (called("plan", tmp_path, "--melts", "16", *words) for words in ((), ("--aliases",)))
    assert "and 12 more such groups" in " ".join(short.out.split())
    assert "--aliases" in short.out
    assert "more such groups" not in whole.out
    assert "--aliases" not in whole.out
    assert len(whole.out) > len(short.out) + 1000
    assert called("plan", tmp_path, "--json", "--melts", "16").document["judgement"]["aliased"].count(";") == 14
    for option in called("options", tmp_path, "--json").document["options"]:
        assert "others" not in option["aliased"]


def test_what_to_type_for_a_plan_draws_it(folder):
    told = called("options", folder, "--json").document
    best = next(option for option in told["options"] if option["name"] == told["recommended"])
    drawn = called("plan", folder, *best["plan_with"].split(), "--json").document
    assert len(drawn["melts"]) == best["melts"]
    assert drawn["design"] == best["design"]
    assert f"Plan with: {best['plan_with']}" in called("options", folder).out


def test_a_judged_table_names_each_row_that_must_not_be_melted(folder):
    (folder / "series.toml").write_text(
        SERIES + '[[limit]]\nkeep = "flux + peak <= 15"\nwhy = "it leaks"\n', encoding="utf-8"
    )
    rows = ["melt,firing,flux,peak,grain,hold,sand", "1,1,10,10,0,0,10", "2,1,0,0,0,10,0", "3,2,0,12,0,0,0"]
    rows += ["4,2,0,12,10,0,10", "5,2,5,12,10,10,0", "6,3,5,0,10,10,10", "7,4,5,5,10,0,0", "8,5,5,10,0,10,10"]
    (folder / "own.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    said = called("plan", folder, "--assess", folder / "own.csv")
    assert said.code == 0, said.err
    for line in (
        'own.csv, line 2: melt 1 breaks the limit "flux + peak <= 15" (it leaks);',
        "own.csv, line 3: melt 2 has peak 0, but firing 1 is set to 10;",
        "own.csv, line 4: melt 3 has peak 12, outside its range; keep it within 0 to 10",
        "own.csv, line 6: firing 2 holds 3 melts, but the kiln takes 2;",
    ):
        assert line in said.out, line
    assert len(called("plan", folder, "--assess", folder / "own.csv", "--json").document["impossible"]) == 7
    refused = called("plan", folder, "--assess", folder)
    assert (refused.code, len(refused.lines)) == (1, 1)
    assert f"{folder.name}: is a folder, and a file is wanted; name the file itself" in refused.err
