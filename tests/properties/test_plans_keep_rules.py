"""Whatever the series: a plan breaks no limit, keeps firings whole and within the kiln, and is repeatable."""

from collections import Counter

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from meltdoe.plans.comparison import compare_plans
from meltdoe.plans.designs_offered import DESIGNS
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.merits.assessment import assess
from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Amount, Budget, Choice, Costs, Kiln, Limit, MeltSeries, Ordered, Outcome
from meltdoe.series.limit_parser import parse_comparison

# those searched for, and foldovers, which need melts made before, have tests of their own
PATTERNS = tuple(sorted(set(DESIGNS) - {"auto", "optimal", "space-filling", "foldover", "half-foldover"}))
OF_THEIR_OWN_LENGTH = ("definitive-screening", "central-composite", "box-behnken", "mixture")


def runs(examples):
    return settings(
        max_examples=examples, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.filter_too_much]
    )


often, now_and_then, seldom = runs(200), runs(50), runs(10)

set_pers = st.sampled_from(["melt", "melt", "firing"])


@st.composite
def factors(draw, number):
    name = f"f{number}"
    kind = draw(st.sampled_from(["amount", "amount", "amount", "choice", "ordered"]))
    if kind == "amount":
        low = draw(st.sampled_from([0.5, 10.0, 900.0]))
        width = draw(st.sampled_from([3.0, 25.0, 250.0]))
        step = draw(st.sampled_from([None, width / 25, width / 7.3]))
        scale = draw(st.sampled_from(["linear", "linear", "log"]))
        return Amount(name, low, low + width, step=step, scale=scale, set_per=draw(set_pers))
    options = tuple("abcd"[: draw(st.integers(2, 4))])
    return (Choice if kind == "choice" else Ordered)(name, options, set_per=draw(set_pers))


@st.composite
def all_series(draw, most_factors=7, limits=True):
    given_factors = tuple(draw(factors(i)) for i in range(draw(st.integers(1, most_factors))))
    amounts = [f for f in given_factors if isinstance(f, Amount)]
    kept = []
    for _ in range(draw(st.integers(0, 2)) if limits and amounts else 0):
        pair = [draw(st.sampled_from(amounts)) for _ in range(2)]
        # shares of the two ranges, of which at most `most` may be reached together; the lower ends always may
        most = draw(st.sampled_from([0.4, 0.8, 1.2, 1.6]))
        text = " + ".join(f"({f.name} - {f.low:g}) / {f.high - f.low:g}" for f in pair) + f" <= {most}"
        kept.append(Limit(text, "invented", parse_comparison(text)))
    return MeltSeries(
        title="Invented",
        factors=given_factors,
        outcomes=(Outcome("poured", "pass"),),
        seed=draw(st.integers(1, 1000)),
        kiln=Kiln(draw(st.integers(1, 5))),
        budget=Budget(
            melts=draw(st.none() | st.integers(4, 30)),
            firings=draw(st.none() | st.integers(2, 15)),
            money=draw(st.none() | st.integers(50, 600)),
        ),
        costs=Costs(melt=draw(st.sampled_from([0.0, 10.0])), firing=draw(st.sampled_from([0.0, 7.0]))),
        limits=tuple(kept),
    )


def check(plan, series, first_melt=1, first_firing=1):
    raw, firings = plan.raw, np.array(plan.firings)
    assert series.allowed(raw).all()
    for i, factor in enumerate(series.factors):
        low, high = (factor.low, factor.high) if isinstance(factor, Amount) else (0, len(factor.options) - 1)
        assert low <= raw[:, i].min()
        assert raw[:, i].max() <= high
        if not isinstance(factor, Amount) or factor.step is not None:
            assert np.isin(raw[:, i], factor.grid()).all()
    for firing in np.unique(firings):
        assert len(np.unique(raw[firings == firing][:, series.per_firing], axis=0)) == 1
    assert max(Counter(plan.firings).values()) <= series.kiln.melts_per_firing
    assert [m.melt for m in plan.melts] == list(range(first_melt, first_melt + len(raw)))
    assert [m.order for m in plan.melts] == [m.melt for m in plan.melts]
    assert sorted(set(plan.firings)) == list(range(first_firing, first_firing + len(set(plan.firings))))
    assert plan.firings == tuple(sorted(plan.firings))
    budget, costs = series.budget, series.costs
    assert budget.melts is None or plan.melts[-1].melt <= budget.melts
    assert budget.firings is None or plan.firings[-1] <= budget.firings
    paid = costs.melt * plan.melts[-1].melt + costs.firing * plan.firings[-1]
    assert budget.money is None or paid <= budget.money + 1e-6


def drawn(series, design, **asked):
    """A plan, or nothing where it was refused in two clear halves."""
    try:
        return make_plan(series, design, **asked)
    except PlanImpossible as impossible:
        refused = impossible
    assert refused.reason
    assert refused.change
    assert "None" not in str(refused)
    return None


@often
@given(
    all_series(),
    st.sampled_from(PATTERNS),
    st.none() | st.sampled_from([4, 8, 12, 16, 20]),
    st.integers(0, 3),
)
def test_patterns_keep_every_rule(series, design, melts, centre_points):
    plan = drawn(series, design, melts=melts, centre_points=centre_points)
    if plan is None:
        return
    check(plan, series)
    assert plan.design == design or (design, plan.design) == ("fraction", "full")
    assert sum(m.purpose == "centre point" for m in plan.melts) >= centre_points * ("moved" not in plan.reason)
    if melts is not None and design not in OF_THEIR_OWN_LENGTH:
        assert len(plan.melts) == melts + centre_points


@now_and_then
@given(all_series(), st.sampled_from(["fraction", "full", "centre"]), st.integers(1, 9), st.integers(1, 5))
def test_counting_on_from_earlier_melts_keeps_the_budget(series, design, first_melt, first_firing):
    plan = drawn(series, design, first_melt=first_melt, first_firing=first_firing)
    if plan is not None:
        check(plan, series, first_melt, first_firing)


@seldom
@given(all_series(most_factors=5), st.none() | st.integers(4, 12))
def test_space_filling_keeps_every_rule(series, melts):
    plan = drawn(series, "space-filling", melts=melts)
    assume(plan is not None)
    check(plan, series)
    assert make_plan(series, "space-filling", melts=melts) == plan


@seldom
@given(all_series(most_factors=4), st.none() | st.integers(4, 12))
def test_optimal_designs_keep_every_rule(series, melts):
    plan = drawn(series, "optimal", melts=melts)
    assume(plan is not None)
    check(plan, series)
    assert assess(plan).indistinguishable == ()
    assert make_plan(series, "optimal", melts=melts) == plan


@seldom
@given(all_series(most_factors=4))
def test_the_automatic_choice_keeps_every_rule(series):
    plan = drawn(series, "auto")
    assume(plan is not None)
    check(plan, series)
    assert assess(plan).indistinguishable == ()


@st.composite
def bought(draw):
    """Three to six factors, a budget of 6 to 40 melts, firings of up to four, perhaps a limit."""
    chosen = tuple(draw(factors(i)) for i in range(draw(st.integers(3, 6))))
    amounts = [f for f in chosen if isinstance(f, Amount)]
    limits = ()
    if len(amounts) > 1 and draw(st.booleans()):
        shares = " + ".join(f"({f.name} - {f.low:g}) / {f.high - f.low:g}" for f in amounts[:2])
        limits = (Limit(f"{shares} <= 1.2", "invented", parse_comparison(f"{shares} <= 1.2")),)
    return MeltSeries(
        title="Invented",
        factors=chosen,
        outcomes=(Outcome("poured", "pass"),),
        seed=draw(st.integers(1, 1000)),
        kiln=Kiln(draw(st.integers(1, 4))),
        budget=Budget(melts=draw(st.integers(6, 40))),
        limits=limits,
    )


@runs(5)
@given(bought())
def test_there_are_four_to_eight_plans_to_choose_from(series):
    compared = compare_plans(series)
    assert 4 <= len(compared.options) <= 8
    assert compared.recommended in {option.name for option in compared.options}
    for option in compared.options:
        check(option.plan, series)


@now_and_then
@given(all_series(most_factors=5), st.sampled_from(["fraction", "full", "plackett-burman"]))
def test_the_seed_gives_the_order_and_nothing_else_does(series, design):
    plan = drawn(series, design, seed=11)
    assume(plan is not None)
    assert make_plan(series, design, seed=11) == plan
    others = [make_plan(series, design, seed=seed) for seed in range(12, 15)]
    if len(np.unique(plan.raw, axis=0)) > 2:
        assert any([m.settings for m in other.melts] != [m.settings for m in plan.melts] for other in others)
    for other in others:  # a pattern has the same melts in any order
        assert np.array_equal(np.unique(other.raw, axis=0), np.unique(plan.raw, axis=0))


@now_and_then
@given(all_series(limits=False), st.sampled_from(["fraction", "plackett-burman"]))
def test_two_level_patterns_are_balanced_and_orthogonal(series, design):
    plan = drawn(series, design)
    assume(plan is not None)
    X = series.coding.matrix([], plan.raw)
    columns = [series.coding.factor_columns(name, plan.raw) for name in series.factor_names]
    X = np.column_stack([X, *columns])
    assert np.allclose(X.T @ X, len(X) * np.eye(X.shape[1]), atol=1e-9)


@often
@given(all_series(), st.integers(1, 400), st.integers(1, 5))
def test_candidates_keep_limits_and_steps(series, count, seed):
    found = candidate_settings(series, count, seed)
    assert 1 <= len(found) <= count
    assert series.allowed(found).all()
    assert len(np.unique(found, axis=0)) == len(found)
    for i, factor in enumerate(series.factors):
        if not isinstance(factor, Amount) or factor.step is not None:
            assert np.isin(found[:, i], factor.grid()).all()
