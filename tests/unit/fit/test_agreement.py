"""Two gradings of the same castings; series are invented."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.inter_rater import cohens_kappa

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.agreement import graded_twice, weighted_kappa
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, MeltSeries, Outcome
from meltdoe.series.outcome import Unseen

TABLE = np.array([[11, 3, 1, 0], [2, 8, 2, 1], [0, 3, 7, 2], [0, 1, 1, 4]])


@pytest.mark.parametrize(("weights", "scores"), [("none", None), ("linear", "linear"), ("quadratic", "quadratic")])
def test_estimate_and_standard_error_against_another_implementation(weights: str, scores: str | None) -> None:
    found, other = weighted_kappa(TABLE, weights), cohens_kappa(TABLE, wt=scores)  # type: ignore[arg-type]
    assert found.kappa == pytest.approx(other.kappa, abs=1e-12)
    assert found.se == pytest.approx(other.std_kappa, abs=1e-12)
    assert found.low < found.kappa < found.high


def test_limits_are_those_of_the_normal_approximation_where_castings_are_many() -> None:
    found = weighted_kappa(50 * TABLE)
    assert (found.low, found.high) == pytest.approx(
        (found.kappa - 1.645 * found.se, found.kappa + 1.645 * found.se), abs=0.01
    )


def test_perfect_agreement_on_few_castings_is_not_certain() -> None:
    few, many = weighted_kappa([[4, 0], [0, 4]]), weighted_kappa([[40, 0], [0, 40]])
    assert (few.kappa, few.se, few.alike, few.by_chance) == (1, 0, 1, 0.5)
    assert few.low < 0.85 < many.low < 1


def test_turning_the_graders_round_changes_nothing() -> None:
    assert weighted_kappa(TABLE.T).kappa == pytest.approx(weighted_kappa(TABLE).kappa)
    assert weighted_kappa(TABLE[::-1, ::-1]).kappa == pytest.approx(weighted_kappa(TABLE).kappa)


def test_bad_tables_and_one_grade_only() -> None:
    with pytest.raises(ValueError, match="square"):
        weighted_kappa([[1, 2, 3], [4, 5, 6]])
    with pytest.raises(ValueError, match="no casting"):
        weighted_kappa([[0, 0], [0, 0]])
    with pytest.raises(ValueError, match="diagonal"):
        weighted_kappa([[1, 0], [0, 1]], [[1, 1], [1, 1]])
    with pytest.raises(ValueError, match="weights must be"):
        weighted_kappa([[1, 0], [0, 1]], "cubic")  # type: ignore[arg-type]
    with pytest.raises(Inestimable, match="one grade only"):
        weighted_kappa([[5, 0], [0, 0]])


def test_a_second_grading_is_found_in_a_log_by_its_name() -> None:
    grades = ("none", "hairline", "open")
    outcomes = (
        Outcome("cracks", "grade", grades=grades, good=("none",)),
        Outcome("cracks_again", "grade", grades=grades),
        Outcome("seeds", "grade", grades=grades),
    )
    series = MeltSeries("invented", (Amount("flux", 0, 1),), outcomes)
    pairs = [("none", "none"), ("open", "hairline"), ("hairline", "hairline"), ("open", "open")]
    entries = [Entry(i, i, {"flux": 0.5}, {"cracks": a, "cracks_again": b}) for i, (a, b) in enumerate(pairs, 1)]
    entries.append(Entry(5, 5, {"flux": 0.5}, {"cracks": "none", "cracks_again": Unseen.LATER}))
    (found,) = graded_twice(series, Log(series, tuple(entries)))
    assert (found.name, found.castings, found.alike) == ("cracks", 4, 0.75)
    assert found.table[2, 1] == 1
    assert graded_twice(series, Log(series, tuple(entries[:2]))) == ()
