"""What is mixed up, in words: whole, or what can be taken in at a glance."""

from planning_series import plain

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.merits.alias_words import aliased_words, listed
from meltdoe.plans.merits.assessment import assess

GROUPS = tuple((f"m{i}", *(f"m{i} * n{j}" for j in range(i + 1))) for i in range(1, 6))
MAINS = {f"m{i}" for i in range(1, 6)}


def test_all_groups_are_named_where_the_whole_is_asked_for():
    whole = aliased_words(GROUPS, 0.0, MAINS)
    assert whole.startswith("mixed up: m1 with m1 * n0 and m1 * n1; m2 with")
    assert all(name in whole for group in GROUPS for name in group)


def test_a_glance_takes_in_three_groups_of_three():
    brief = aliased_words(GROUPS, 0.0, MAINS, brief=True)
    assert brief == (
        "mixed up: m1 with m1 * n0 and m1 * n1; m2 with m2 * n0, m2 * n1 and m2 * n2; "
        "m3 with m3 * n0, m3 * n1 and 2 others; and 2 more such groups"
    )


def test_interactions_come_behind_main_effects():
    said = aliased_words((("a * b", "c * d"),), 0.0, {"a", "b", "c", "d"})
    assert said == "main effects are clear; among interactions a * b with c * d"
    both = aliased_words((("a", "b * c"), ("a * b", "c * d")), 0.3, {"a", "b", "c", "d"})
    assert both == (
        "mixed up: a with b * c; a * b with c * d; main effects are partly mixed up with other effects "
        "(correlation up to 0.30)"
    )
    assert aliased_words((), 0.0, {"a"}) == "main effects and two-factor interactions can all be told apart"


def test_never_a_single_one_is_counted():
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"], 3) == "a, b and c"
    assert listed(["a", "b", "c", "d"], 3) == "a, b and 2 others"


def test_fifteen_factors_in_sixteen_melts_can_be_read():
    judged = assess(make_plan(plain(15), "fraction", 16))
    assert len(judged.aliased_briefly) < 200 < len(judged.aliased)
    assert judged.aliased_briefly.endswith("and 12 more such groups")
    assert max(map(len, judged.summary())) < 300
    # 15 groups of a main effect and 7 interactions: a saturated fraction of resolution III
    assert len(judged.mixed_up) == 15
    assert {len(group) for group in judged.mixed_up} == {8}
