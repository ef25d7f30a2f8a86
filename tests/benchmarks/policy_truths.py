"""Invented truths that ways of choosing melts are tried on, in two halves. No real glass stands behind them.

A truth is a chain of pass/fail outcomes with the log odds of each written out over coded settings (-1 to +1 for
amounts, the position of the option for choices). None is a polynomial of the program's own prior on purpose: there are
cliffs, plateaus, optima between the ends, best settings that depend on an option, and factors that do nothing.

The first half is for improving the program. The second half is for the figure that is published, and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.rehearsal.truth import Truth
from meltdoe.series import Amount, Budget, Choice, Kiln, MeltSeries, Outcome
from meltdoe.series.factor import Factor, FloatArray
from meltdoe.series.outcome import Seen

__all__ = ["BUDGET", "HELD_OUT", "TUNING", "WrittenTruth"]

BUDGET = 30
Columns = Mapping[str, NDArray[np.float64]]
LogOdds = Callable[[Columns], Sequence[NDArray[np.float64]]]


@dataclass(frozen=True)
class WrittenTruth(Truth):
    """A truth written as formulas.

    Parameters
    ----------
    log_odds : of each outcome in turn, given that the ones before were good.
    """

    name: str
    series: MeltSeries
    log_odds: LogOdds

    def _stages(self, raw: FloatArray) -> NDArray[np.float64]:
        table = np.atleast_2d(np.asarray(raw, dtype=float))
        columns = {
            factor.name: table[:, i] if isinstance(factor, Choice) else factor.coded(table[:, i])
            for i, factor in enumerate(self.series.factors)
        }
        return np.array([expit(eta + np.zeros(len(table))) for eta in self.log_odds(columns)])

    def chance(self, raw: FloatArray) -> FloatArray:
        return np.asarray(self._stages(raw).prod(axis=0))

    def values(self, outcome: Outcome, raw: FloatArray, firings: Sequence[int], rng: np.random.Generator) -> list[Seen]:
        del firings
        stage = [one.name for one in self.series.outcomes].index(outcome.name)
        return [bool(hit) for hit in rng.random(len(raw)) < self._stages(raw)[stage]]

    @cached_property
    def candidates(self) -> FloatArray:
        return candidate_settings(self.series, 2000, 1)

    @property
    def reachable(self) -> bool:
        return bool(self.chance(self.candidates).max() >= self.series.target_chance)

    @property
    def share(self) -> float:
        """Share of all settings that reach the target."""
        return float((self.chance(self.candidates) >= self.series.target_chance).mean())


def _amounts(*names: str, per_firing: str = "") -> tuple[Factor, ...]:
    """Amounts from 0 to 20 in single steps: what they are called has no influence."""
    return tuple(
        Amount(name, 0.0, 20.0, step=1.0, set_per="firing" if name in per_firing.split() else "melt") for name in names
    )


def _truth(
    name: str, factors: Sequence[Factor], stages: Sequence[str], log_odds: LogOdds, melts_per_firing: int = 1
) -> WrittenTruth:
    outcomes = tuple(Outcome(stage, "pass", after=stages[i - 1] if i else None) for i, stage in enumerate(stages))
    series = MeltSeries(
        "invented",
        tuple(factors),
        outcomes,
        target_chance=0.8,
        seed=1,
        budget=Budget(melts=BUDGET),
        kiln=Kiln(melts_per_firing=melts_per_firing),
    )
    return WrittenTruth(name, series, log_odds)


def _over_or_stiff(x: Columns) -> Sequence[NDArray[np.float64]]:
    """Heat and flux boil over together; without both the pour is stiff: a narrow band across the corner."""
    heat = x["peak"] + x["flux"]
    return 3.2 - 5.0 * np.maximum(heat - 0.5, 0.0), 0.9 + 4.0 * np.minimum(heat - 0.4, 0.0) + 1.4 * x["hold"]


def _two_of_six(x: Columns) -> Sequence[NDArray[np.float64]]:
    return (-1.6 + 2.0 * x["b"] - 2.0 * x["e"],)


def _option_turns_flux(x: Columns) -> Sequence[NDArray[np.float64]]:
    """Each sand wants another share of flux, and one sand never works well."""
    wanted = np.array([-0.6, 0.7, 0.0])[x["sand"].astype(int)]
    worth = np.array([2.8, 2.6, 0.4])[x["sand"].astype(int)]
    return worth - 4.5 * np.abs(x["flux"] - wanted) + 0.8 * x["hold"], 1.2 + 1.6 * x["hold"]


def _hill(x: Columns) -> Sequence[NDArray[np.float64]]:
    return (2.2 - 8.0 * (x["flux"] - 0.4) ** 2 - 7.0 * (x["peak"] + 0.3) ** 2 + 0.5 * x["hold"],)


def _too_much_asked(x: Columns) -> Sequence[NDArray[np.float64]]:
    """What helps the pour hurts the casting: at best between three and four in ten."""
    return 0.2 + 2.0 * x["peak"], -0.2 - 2.0 * x["peak"] + 0.8 * x["flux"]


TUNING = (
    _truth("band across a corner", _amounts("peak", "flux", "hold"), ("contained", "poured"), _over_or_stiff),
    _truth("two of six factors", _amounts("a", "b", "c", "d", "e", "f"), ("whole",), _two_of_six),
    _truth(
        "option turns the best flux",
        (*_amounts("flux", "hold"), Choice("sand", ("silica", "olivine", "chromite"))),
        ("poured", "whole"),
        _option_turns_flux,
    ),
    _truth("hill between the ends", _amounts("flux", "peak", "hold"), ("whole",), _hill),
    _truth("out of reach, tuning", _amounts("peak", "flux", "hold"), ("poured", "whole"), _too_much_asked),
)


def _three_stages(x: Columns) -> Sequence[NDArray[np.float64]]:
    """Leaks above, stiff below, cracks where cooled fast; a fifth factor would be idle, the fourth is."""
    return (
        4.0 - 3.0 * np.maximum(x["peak"] + 0.8 * x["flux"] - 0.5, 0.0),
        0.9 + 2.0 * x["peak"] + 1.5 * x["flux"],
        1.5 - 2.5 * x["cooling"],
    )


def _crossed(x: Columns) -> Sequence[NDArray[np.float64]]:
    """Two choices that only work in one pairing, and an amount that helps."""
    sand, mould = 2.0 * x["sand"] - 1.0, 2.0 * x["mould"] - 1.0
    return (-1.3 + 1.6 * sand * mould + 1.5 * x["flux"] + 0.6 * sand,)


def _hill_with_option(x: Columns) -> Sequence[NDArray[np.float64]]:
    good = np.array([0.0, 1.6, -1.0])[x["flux_kind"].astype(int)]
    return (0.4 + good - 6.0 * (x["peak"] - 0.4) ** 2 + 0.9 * x["hold"],)


def _by_firing(x: Columns) -> Sequence[NDArray[np.float64]]:
    """Peak and hold are set per firing; the charge decides how much heat is right."""
    heat = x["peak"] + 0.5 * x["hold"]
    return 3.0 - 3.0 * np.maximum(heat + 0.6 * x["flux"] - 0.4, 0.0), 1.6 + 2.5 * np.minimum(heat - 0.2, 0.4) + x[
        "flux"
    ]


def _plateau(x: Columns) -> Sequence[NDArray[np.float64]]:
    """Two factors each with a cliff, four that hardly matter."""
    return (2.5 - 4.0 * (x["a"] > -0.35) - 4.0 * (x["d"] < 0.45) + 0.3 * x["c"],)


def _never(x: Columns) -> Sequence[NDArray[np.float64]]:
    return 0.4 + 1.5 * x["flux"], 0.4 - 1.5 * x["flux"] + 0.7 * x["peak"], 0.8 - 0.6 * x["peak"] ** 2


HELD_OUT = (
    _truth(
        "three stages in a row", _amounts("peak", "flux", "cooling", "grain"), ("contained", "poured", "whole"),
        _three_stages,
    ),
    _truth(
        "two choices in one pairing",
        (*_amounts("flux", "hold"), Choice("sand", ("wet", "dry")), Choice("mould", ("open", "closed"))),
        ("whole",),
        _crossed,
    ),
    _truth(
        "hill with the right flux",
        (*_amounts("peak", "hold", "grain"), Choice("flux_kind", ("soda", "borax", "lime"))),
        ("whole",),
        _hill_with_option,
    ),
    _truth(
        "heat shared by a firing",
        _amounts("peak", "hold", "flux", "grain", per_firing="peak hold"),
        ("contained", "poured"),
        _by_firing,
        melts_per_firing=2,
    ),
    _truth("two cliffs, six factors", _amounts("a", "b", "c", "d", "e", "f"), ("whole",), _plateau),
    _truth("out of reach", _amounts("peak", "flux", "hold"), ("contained", "poured", "whole"), _never),
)  # fmt: skip
