"""Any valid series survives being written and read; no damage to a file raises anything but a list of problems."""

from __future__ import annotations

import string
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meltdoe.errors import Problem
from meltdoe.files.series.series_edit import edited
from meltdoe.files.series.series_limits import ceiling_limits, gone_limits
from meltdoe.files.series.series_text import series_text
from meltdoe.files.series.series_toml import check_series, check_series_text
from meltdoe.series.belief import Belief, Circumstance
from meltdoe.series.budget import Budget, Costs, Kiln
from meltdoe.series.factor import Amount, Choice, Factor, Ordered
from meltdoe.series.limit import Limit
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome
from meltdoe.series.terms import cross_terms, main_terms
from meltdoe.units import Quantity

_WORDS = st.text(
    alphabet=string.ascii_letters + string.digits + " -äß'\"\\#=[]{},.:%°µ漢", min_size=1, max_size=20
).map(lambda text: " ".join(text.split()) or "x")
_POSITIVE = st.one_of(st.integers(1, 1000).map(float), st.floats(1e-3, 1e6))
POT = Circumstance("pot", "Pot", "", ("a", "b"))
_SET_PER = st.sampled_from(["firing", "melt", "mould"])


def _different(least: int, most: int) -> st.SearchStrategy[tuple[str, ...]]:
    words = _WORDS.filter(lambda word: word.casefold() not in ("later", "lost"))
    return st.lists(words, min_size=least, max_size=most, unique_by=str.casefold).map(tuple)


@st.composite
def amounts(draw: st.DrawFn, name: str) -> Amount:
    scale = draw(st.sampled_from(["linear", "log"]))
    low = draw(st.floats(1e-3 if scale == "log" else -200, 1e4))
    high = low + draw(st.floats(0.01, 1e4))
    step = draw(st.none() | st.sampled_from([0.5, 0.1, 1 / 3]).map(lambda part: part * (high - low)))
    unit = draw(st.sampled_from(["", "wt%", "°C", "°F", "mm", "scoops", "h"]))
    earlier = draw(st.none() | st.sampled_from([low, high + 1.0]))
    return Amount(name, low, high, draw(st.just("") | _WORDS), unit, step, scale, draw(_SET_PER), earlier)


@st.composite
def factors(draw: st.DrawFn, name: str) -> Factor:
    if draw(st.booleans()):
        return draw(amounts(name))
    listing = draw(st.sampled_from([Choice, Ordered]))
    options = draw(_different(2, 5))
    earlier = draw(st.none() | st.sampled_from(options))
    gone = options[: draw(st.integers(0, len(options) - 1))]
    return listing(name, options, draw(st.just("") | _WORDS), draw(_SET_PER), earlier, gone)


@st.composite
def outcomes(draw: st.DrawFn, name: str, after: str | None, seen_per: str) -> Outcome:
    kind = draw(st.sampled_from(["pass", "grade", "measured"]))
    question = draw(st.just("") | _WORDS)
    if kind == "pass":
        return Outcome(name, "pass", question, after=after, seen_per=seen_per)
    if kind == "grade":
        grades = draw(_different(2, 5))
        good = draw(st.none() | st.integers(1, len(grades) - 1).map(lambda count: grades[:count]))
        return Outcome(name, "grade", question, "", grades, None, after, good, seen_per)
    low = draw(st.floats(-1e3, 1e3))
    width = draw(st.floats(1, 1e3))
    bounds = draw(st.sampled_from([None, (low, low + width), (low, float("inf")), (float("-inf"), low + width)]))
    middle = low + width / 2
    good_range = draw(st.sampled_from([None, GoodRange(low=middle), GoodRange(high=middle), GoodRange(middle, middle)]))
    unit = draw(st.sampled_from(["", "%", "mm", "°F"]))
    return Outcome(name, "measured", question, unit, (), bounds, after, good_range, seen_per)


@st.composite
def series(draw: st.DrawFn) -> MeltSeries:
    names = draw(
        st.lists(st.sampled_from(["flux", "peak", "hold_2", "größe", "Packing", "e"]), min_size=1, unique=True)
    )
    set_up = tuple(draw(factors(name)) for name in names)
    chain: list[Outcome] = []
    for name in draw(st.lists(st.sampled_from(["contained", "fill", "cracks", "heil"]), min_size=1, unique=True)):
        forerunners = [outcome.name for outcome in chain if outcome.counts]
        after = draw(st.none() | st.sampled_from(forerunners)) if forerunners else None
        per = (
            "mould"
            if any(outcome.seen_per == "mould" for outcome in chain)
            else draw(st.sampled_from(["melt", "mould"]))
        )
        chain.append(draw(outcomes(name, after, per)))
    numbers = [factor for factor in set_up if isinstance(factor, Amount)]
    kiln = Kiln(draw(st.integers(1, 8)), draw(st.none() | st.just(Quantity(99999.5, "°C"))))
    own = []
    if numbers and draw(st.booleans()):
        text = f"{numbers[0].name} * 2 <= {2 * numbers[0].high + 1!r}"
        own.append(Limit(text, draw(st.just("") | _WORDS), parse_comparison(text)))
    counting = [outcome.name for outcome in chain if outcome.counts]
    beliefs = []
    if counting and draw(st.booleans()):
        at = {f.name: f.low if isinstance(f, Amount) else f.options[-1] for f in set_up if draw(st.booleans())}
        chance = draw(st.floats(0, 1, exclude_min=True, exclude_max=True))
        beliefs.append(Belief(at, draw(st.sampled_from(counting)), chance, draw(_POSITIVE)))
    pool = (*main_terms(set_up), *cross_terms(set_up))
    whole = st.none() | st.integers(1, 30)
    return MeltSeries(
        title=draw(_WORDS),
        factors=set_up,
        outcomes=tuple(chain),
        goal=draw(st.just("") | _WORDS),
        target_chance=draw(st.floats(0.01, 0.99)),
        seed=draw(st.integers(0, 2**63 - 1)),
        budget=Budget(draw(whole), draw(whole), draw(st.none() | _POSITIVE), draw(st.just("") | _WORDS)),
        kiln=kiln,
        limits=(*own, *ceiling_limits(set_up, kiln.max_temperature), *gone_limits(set_up)),
        costs=Costs(draw(_POSITIVE), 0.0, {name: draw(_POSITIVE) for name in counting if draw(st.booleans())}),
        beliefs=tuple(beliefs),
        terms=tuple(draw(st.lists(st.sampled_from(pool), unique=True, max_size=3))),
        circumstances=draw(st.sampled_from([(), (Circumstance("humidity", "", "%"), POT)])),
        moulds_per_melt=draw(st.integers(1, 4)),
    )  # fmt: skip


@settings(max_examples=80, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(series(), st.booleans())
def test_a_series_reads_back_as_it_was_written(written: MeltSeries, examples: bool):
    read, problems = check_series_text(series_text(written, examples=examples))
    assert problems == ()
    assert read == written


def test_writing_and_reading_would_notice_a_difference():
    first = MeltSeries("t", (Amount("f", 0.0, 1.0),), (Outcome("o", "pass"),))
    second = MeltSeries("t", (Amount("f", 0.0, 1.0 + 1e-12),), (Outcome("o", "pass"),))
    assert check_series_text(series_text(first))[0] != second


_COMMENTED = series_text(
    MeltSeries(
        title="Flux and heat",
        factors=(
            Amount("flux", 15.0, 40.0, "Flux", "wt%", 1.0),
            Amount("peak", 1100.0, 1250.0, "", "°C", 10.0, "log", "firing"),
            Ordered("packing", ("loose", "firm"), "", "mould"),
        ),
        outcomes=(
            Outcome("contained", "pass"),
            Outcome("fill", "measured", "", "%", (), (0.0, 100.0), "contained", GoodRange(95.0)),
            Outcome("cracks", "grade", "", "", ("none", "hairline", "open"), None, "fill", ("none",)),
        ),
        budget=Budget(14, 6, 400.0, "EUR"),
        kiln=Kiln(3, Quantity(1280.0, "°C")),
        limits=tuple(Limit(text, "", parse_comparison(text)) for text in ("flux + 0.1 * peak <= 160", "peak <= 1280")),
        costs=Costs(12.0, 9.5, {"contained": 45.0}),
        beliefs=(Belief({"flux": 20.0, "packing": "firm"}, "contained", 0.6),),
        terms=main_terms((Amount("flux", 15.0, 40.0),)),
        circumstances=(Circumstance("humidity"),),
        moulds_per_melt=2,
    )
)
_ROWS = [row for row in _COMMENTED.split("\n") if row and not row.startswith("#")]
FULL = "\n".join(_ROWS)
_PIECES = st.one_of(
    st.sampled_from(
        ["", '"', "'", "[", "]", "[[", "=", "\n", "#", "inf", "nan", "-", "0", "9e99", "true", "1979-05-27", "{}"]
    ),
    st.sampled_from(_ROWS),
    st.text(max_size=3),
)


def _is_told(problems: tuple[Problem, ...], text: str) -> None:
    for problem in problems:
        assert problem.file == "series.toml"
        assert problem.line is None or 1 <= problem.line <= text.count("\n") + 1
        assert problem.what
        assert problem.mend
        assert "\n" not in str(problem)
    lines = [problem.line or 0 for problem in problems]
    assert lines == sorted(lines)


@settings(max_examples=250, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, len(FULL)), st.integers(0, 12), _PIECES), min_size=1, max_size=4))
def test_no_damage_to_the_text_raises(cuts: list[tuple[int, int, str]]):
    text = FULL
    for at, length, piece in cuts:
        text = text[:at] + piece + text[at + length :]
    read, problems = check_series_text(text)
    assert (read is None) == bool(problems)
    _is_told(problems, text)


_VALUES = st.sampled_from(
    ["0", "-1", "1e400", "nan", "inf", "true", '""', '"x"', "[]", "[[]]", "{}", "[1, 2]", "1979-05-27", '["a", "b"]']
)  # fmt: skip


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.sampled_from([i for i, row in enumerate(_ROWS) if " = " in row]), _VALUES), max_size=4))
def test_no_wrong_value_raises(changes: list[tuple[int, str]]):
    rows = list(_ROWS)
    for i, value in changes:
        rows[i] = f"{rows[i].split(' = ')[0]} = {value}"
    text = "\n".join(rows)
    read, problems = check_series_text(text)
    assert (read is None) == bool(problems)
    _is_told(problems, text)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, len(FULL.encode()) - 1), st.integers(0, 255)), min_size=1, max_size=5))
def test_no_damage_to_the_bytes_raises(tmp_path_factory, changes: list[tuple[int, int]]):
    data = bytearray(FULL.encode())
    for at, byte in changes:
        data[at] = byte
    folder = tmp_path_factory.getbasetemp() / "damaged"
    Path(folder).mkdir(exist_ok=True)
    (folder / "series.toml").write_bytes(data)
    read, problems = check_series(folder)
    assert (read is None) == bool(problems)
    _is_told(problems, data.decode("utf-8", "replace"))


@settings(max_examples=30, deadline=None, derandomize=True)
@given(series(), st.integers(0, 2**31), _WORDS)
def test_changing_one_value_changes_only_that(written: MeltSeries, seed: int, goal: str):
    text = edited(edited(series_text(written, examples=True), ("seed",), seed), ("goal",), goal)
    read, problems = check_series_text(text)
    assert problems == ()
    assert read is not None
    assert (read.seed, read.goal) == (seed, goal)
    assert read.factors == written.factors
    assert read.outcomes == written.outcomes
    remarks = [row for row in series_text(written, examples=True).split("\n") if row.startswith("#")]
    assert [row for row in text.split("\n") if row.startswith("#")] == remarks
