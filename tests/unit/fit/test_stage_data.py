"""Which rows of a log speak about an outcome."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.fit.stages.stage_data import modelled_factors, stage_data
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, Choice, Circumstance, GoodRange, MeltSeries, Outcome
from meltdoe.series.outcome import Seen, Unseen

FACTORS = (Amount("flux", 15, 40, unit="wt%"), Choice("packing", ("tight", "edge")))
OUTCOMES = (
    Outcome("contained", "pass"),
    Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=95)),
    Outcome("cracks", "grade", grades=("none", "hairline", "open"), after="fill", good=("none", "hairline")),
)
SERIES = MeltSeries("invented", FACTORS, OUTCOMES, circumstances=(Circumstance("humidity"), Circumstance("kiln")))


def entry(melt: int, *seen: Seen, flux: float | None = 20.0, firing: int | None = None, **more: object) -> Entry:
    settings = {"packing": "tight"} if flux is None else {"flux": flux, "packing": "tight"}
    values = dict(zip(("contained", "fill", "cracks"), seen, strict=False))
    return Entry(melt, firing or melt, settings, values, **more)  # type: ignore[arg-type]


def test_a_melt_counts_only_where_everything_before_was_good() -> None:
    log = Log(
        SERIES,
        (
            entry(1, False, Unseen.NOT_REACHED, Unseen.NOT_REACHED),
            entry(2, True, 80.0, Unseen.NOT_REACHED, flux=25),
            entry(3, True, 97.0, "open", flux=30),
            entry(4, True, 100.0, "none", flux=35),
        ),
    )
    sizes = {o.name: (d.n_seen, d.n_good) for o in OUTCOMES for d in [stage_data(SERIES, log, o)]}
    assert sizes == {"contained": (4, 3), "fill": (3, 2), "cracks": (2, 1)}
    assert stage_data(SERIES, log, OUTCOMES[2]).rows == (2, 3)
    assert list(stage_data(SERIES, log, OUTCOMES[2]).y) == [2.0, 0.0]


def test_later_and_lost_are_missing_and_a_blank_is_not() -> None:
    log = Log(
        SERIES,
        (
            entry(1, True, Unseen.LATER),
            entry(2, True, Unseen.LOST),
            entry(3, False, Unseen.NOT_REACHED),
            entry(4, True, Unseen.NOT_REACHED),
        ),
    )
    data = stage_data(SERIES, log, OUTCOMES[1])
    assert data.n_seen == 0
    assert dict(data.missing) == {Unseen.LATER: 1, Unseen.LOST: 1}
    assert any("melt 4" in note and "blank" in note for note in data.notes)
    assert not any("melt 3" in note for note in data.notes)


def test_an_outcome_noted_beyond_a_failure_is_left_out_and_named() -> None:
    data = stage_data(SERIES, Log(SERIES, (entry(7, True, 60.0, "none"),)), OUTCOMES[2])
    assert data.n_seen == 0
    assert "melt 7" in data.notes[0]
    assert "fill" in data.notes[0]


def test_a_melt_with_an_unknown_setting_counts_and_is_named() -> None:
    data = stage_data(SERIES, Log(SERIES, (entry(5, True, flux=None), entry(6, True))), OUTCOMES[0])
    assert sorted(data.melts) == [5, 6]
    assert data.notes == ("Flux of melt 5 is unknown: it counts with its average, and says nothing of what flux does.",)


def test_a_hold_of_zero_on_a_logarithmic_scale_is_left_out() -> None:
    series = MeltSeries("invented", (Amount("hold", 1, 8, scale="log"),), OUTCOMES[:1])
    log = Log(
        series, (Entry(1, 1, {"hold": 0.0}, {"contained": True}), Entry(2, 2, {"hold": 2.0}, {"contained": True}))
    )
    assert stage_data(series, log, OUTCOMES[0]).melts == (2,)


def test_measurements_on_a_bound_are_censored_there() -> None:
    log = Log(SERIES, tuple(entry(i, True, value, flux=15.0 + i) for i, value in enumerate((0.0, 50.0, 100.0), 1)))
    assert list(stage_data(SERIES, log, OUTCOMES[1]).censored) == [-1, 0, 1]


@pytest.mark.parametrize(("firings", "expected"), [((1, 2, 3), None), ((5, 5, 2), [0, 0, 1])])
def test_firings_share_an_effect_only_where_one_holds_several_melts(
    firings: tuple[int, ...], expected: list[int] | None
) -> None:
    log = Log(SERIES, tuple(entry(i, True, flux=15.0 + i, firing=f) for i, f in enumerate(firings, 1)))
    groups = stage_data(SERIES, log, OUTCOMES[0]).groups
    assert (None if groups is None else list(groups)) == expected


def test_rows_do_not_follow_the_order_of_the_log() -> None:
    entries = tuple(entry(i, i % 2 == 0, flux=float(flux)) for i, flux in enumerate((33, 18, 27, 18), 1))
    forward = stage_data(SERIES, Log(SERIES, entries), OUTCOMES[0])
    backward = stage_data(SERIES, Log(SERIES, entries[::-1]), OUTCOMES[0])
    assert np.array_equal(forward.raw, backward.raw)
    assert np.array_equal(forward.y, backward.y)
    assert forward.melts == backward.melts


def test_circumstances_that_vary_become_centred_columns() -> None:
    log = Log(
        SERIES,
        tuple(
            entry(
                i,
                True,
                flux=14.0 + i,
                circumstances={"humidity": 40.0 + 10 * (i % 2), "kiln": "old" if i < 6 else "new"},
            )
            for i in range(1, 11)
        ),
    )
    nuisance = stage_data(SERIES, log, OUTCOMES[0]).nuisance
    assert nuisance.names == ("humidity", "kiln old")
    assert nuisance.columns.mean(axis=0) == pytest.approx([0, 0], abs=1e-12)
    assert nuisance.columns[:, 0].std() == pytest.approx(1)


def test_what_is_seen_once_for_a_melt_is_not_counted_with_every_mould() -> None:
    factors = (FACTORS[0], Choice("sand", ("fine", "coarse"), set_per="mould"))
    outcomes = (Outcome("contained", "pass"), Outcome("sharp", "pass", after="contained", seen_per="mould"))
    series = MeltSeries("invented", factors, outcomes, moulds_per_melt=2)
    log = Log(
        series,
        tuple(
            Entry(
                melt, melt, {"flux": 20.0 + melt, "sand": sand}, {"contained": True, "sharp": mould == 1}, mould=mould
            )
            for melt in (1, 2, 3)
            for mould, sand in ((1, "fine"), (2, "coarse"))
        ),
    )
    whole, each = (stage_data(series, log, outcome) for outcome in outcomes)
    assert (whole.n_seen, whole.groups) == (3, None)
    assert (each.n_seen, each.n_good, each.group_kind) == (6, 3, "melt")
    assert [factor.name for factor in modelled_factors(series, outcomes[0])] == ["flux"]
