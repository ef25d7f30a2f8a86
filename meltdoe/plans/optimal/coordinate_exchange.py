"""Exact optimal designs by coordinate exchange with continuous polish from many starts.

Meyer and Nachtsheim (1995), Technometrics 37, 60-69 (coordinate exchange); Jones and Goos (2007), Appl. Statist. 56
(firings as whole plots); DuMouchel and Jones (1994), Technometrics 36, 37-47 (prior precision for potential terms,
fewer runs than terms). Random starts exchange coordinates over a coarse grid of levels until nothing improves; the
best are then disturbed (a firing or a sixth of the runs drawn anew) and improved again, and at last polished by
ever smaller steps. The best of all is kept. Nothing is proven optimal: `hits` says how many independent starts led
there.

Criteria, with M = X'X (or its whole-plot form) + information of existing runs + prior precision:
D makes |M| large; A makes tr M^-1 small; I makes the variance of prediction, averaged over the region, small.
"bayesian-D" is D with further terms that are only possible: each has prior variance tau^2, so that runs to spare are
spent on them. "pass-chance" is D for a pass/fail outcome, averaged over draws of what may be true: see
`meltdoe.plans.optimal.logistic_design`.

How much firings differ is seldom known. With several ratios `eta` a search is made for each, and of all designs found
the one is taken whose worst efficiency over the ratios is best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from meltdoe.errors import Inestimable
from meltdoe.plans.merits.aliasing import indistinguishable
from meltdoe.plans.optimal.exchange_search import Batch, Setting, information
from meltdoe.plans.optimal.exchange_starts import search
from meltdoe.plans.optimal.logistic_design import logistic_exchange
from meltdoe.plans.optimal.model_matrix import (
    Categorical,
    Continuous,
    DesignFactor,
    FloatArray,
    Limit,
    Model,
    Term,
    Terms,
    region_moments,
)

__all__ = ["Categorical", "Continuous", "Criterion", "ExactDesign", "exchange"]

Criterion: TypeAlias = Literal["D", "A", "I", "bayesian-D", "pass-chance"]
IntArray = npt.NDArray[np.int64]

_RIDGE = 1e-6


@dataclass(frozen=True, eq=False)
class ExactDesign:
    """An exact design and how it was found.

    Parameters
    ----------
    table : (runs, k) raw settings of the new runs, firing by firing.
    criterion : value of the criterion: D and bayesian-D give 100 |M|^(1/p) / n in per cent (n counts existing runs
        too), A gives tr M^-1, I gives the average variance of prediction over the region, for sigma = 1, pass-chance
        gives the mean log determinant over the draws. With several ratios `eta`: at the first.
    optimal_for : the criterion's name.
    log_det : log |M|, with existing runs and prior precision; for pass-chance its mean over the draws.
    starts : how many random starts were made.
    hits : how many of them led to this value; several are a fair sign, never a proof.
    by_eta : (ratio, efficiency) pairs: per cent of the best value found at that ratio alone; empty for one ratio.
    """

    table: FloatArray
    criterion: float
    optimal_for: Criterion
    log_det: float
    starts: int
    hits: int
    by_eta: tuple[tuple[float, float], ...] = ()


def exchange(
    factors: Sequence[DesignFactor],
    terms: Terms,
    runs: int,
    criterion: Criterion = "D",
    *,
    firings: Sequence[int] | None = None,
    eta: float | Sequence[float] = 1.0,
    limits: Sequence[Limit] = (),
    existing: npt.ArrayLike | None = None,
    existing_firings: Sequence[int] | None = None,
    prior_precision: npt.ArrayLike | None = None,
    possible: Sequence[Term] = (),
    tau: float = 1.0,
    draws: npt.ArrayLike | None = None,
    limited: Sequence[int] | None = None,
    effort: float = 1.0,
    seed: int = 0,
) -> ExactDesign:
    """The best exact design found for a model.

    Parameters
    ----------
    factors : `Continuous` and `Categorical` factors, in the order of the raw columns.
    terms : tuples of exponents, one per factor (all zeros is the constant), or a function from raw settings (n, k) to
        model rows (n, p).
    runs : number of new runs.
    criterion : "D", "A", "I", "bayesian-D" or "pass-chance".
    firings : numbers of new runs in each firing, in order; factors with `per_firing` then are shared within each.
        None where every run is its own.
    eta : variance between firings over variance between runs of one firing; several for a design that is good at all.
    limits : functions from raw settings (n, k) to True where the setting may be run; apply to new runs only.
    existing : (m, k) raw settings already run and kept.
    existing_firings : numbers of existing runs in each firing, in order.
    prior_precision : (p,) or (p, p) prior precision of the terms: 0 for terms that must be estimated, 1/tau^2 for
        potential ones. Allows fewer runs than terms. For pass-chance it is P0, which keeps few runs finite.
    possible : exponents of the further terms of bayesian-D, which need not be estimable.
    tau : prior standard deviation of their coefficients, in melt-to-melt standard deviations.
    draws : (S, p) draws of the coefficients for pass-chance.
    limited : positions of the factors that the limits look at, where that is known; the others need not be asked about.
    effort : multiplies the number of starts; 1 keeps designs of up to about 24 runs and 18 terms near a second.
    seed : seed of the starts; the same inputs and seed give the same design.

    Raises
    ------
    ValueError
        Where the arguments do not fit together, or no setting satisfies the limits.
    Inestimable
        Where there are fewer runs than terms and no prior, or the runs cannot tell all terms apart.
    """
    if runs < 1:
        raise ValueError(f"a design needs at least one new run, got {runs}")
    if criterion not in ("D", "A", "I", "bayesian-D", "pass-chance"):
        raise ValueError(f'the criterion must be "D", "A", "I", "bayesian-D" or "pass-chance", got {criterion!r}')
    if (criterion == "pass-chance") != (draws is not None):
        raise ValueError('draws of the coefficients go with the criterion "pass-chance" and only with it')
    if draws is not None:
        prior = _prior(Model(factors, terms), prior_precision)
        found = logistic_exchange(
            factors, terms, runs, draws, prior_precision=prior, firings=firings, limits=limits, existing=existing,
            effort=effort, seed=seed,
        )  # fmt: skip
        return ExactDesign(found.table, found.utility, criterion, found.utility, found.starts, found.hits)
    if possible:
        if callable(terms) or criterion != "bayesian-D":
            raise ValueError('possible terms go with the criterion "bayesian-D" and terms given as exponents')
        terms, prior_precision = _with_possible(factors, terms, prior_precision, possible, tau)
    etas = tuple(np.atleast_1d(np.asarray(eta, dtype=float)).tolist())
    if not etas or not min(etas) >= 0:
        raise ValueError(f"eta is a ratio of variances and cannot be {eta}")
    settings = [
        _Setting(
            factors,
            terms,
            runs,
            criterion,
            firings,
            value,
            limits,
            limited,
            existing,
            existing_firings,
            prior_precision,
        )
        for value in etas
    ]
    rng = np.random.default_rng(seed)
    found_at = [search(s.setting, runs, effort / len(etas), rng) for s in settings]
    best = 0
    by_eta: tuple[tuple[float, float], ...] = ()
    tables = found_at[0].tables[:1]
    if len(etas) > 1:
        tables = np.concatenate([found.tables for found in found_at])
        shares = np.stack([s.shares(tables) for s in settings])
        best = int(np.argmax(shares.min(axis=0)))
        by_eta = tuple((value, 100.0 * float(share)) for value, share in zip(etas, shares[:, best], strict=True))
    judged = settings[0].judged(tables[best], criterion, sum(f.starts for f in found_at), found_at[0].hits)
    return replace(judged, by_eta=by_eta)


def _with_possible(
    factors: Sequence[DesignFactor],
    terms: Sequence[Term],
    prior_precision: npt.ArrayLike | None,
    possible: Sequence[Term],
    tau: float,
) -> tuple[Sequence[Term], FloatArray]:
    """The terms with the possible ones behind them, and the prior precision of all."""
    if prior_precision is not None:
        raise ValueError("give either possible terms or a prior precision")
    if not tau > 0:
        raise ValueError(f"tau is a standard deviation and cannot be {tau}")
    width, extra = Model(factors, terms).width, Model(factors, possible).width
    return [*terms, *possible], np.concatenate([np.zeros(width), np.full(extra, tau**-2)])


class _Setting:
    """One search and its judgement, for one ratio of variances."""

    def __init__(
        self,
        factors: Sequence[DesignFactor],
        terms: Terms,
        runs: int,
        criterion: Criterion,
        firings: Sequence[int] | None,
        eta: float,
        limits: Sequence[Limit],
        limited: Sequence[int] | None,
        existing: npt.ArrayLike | None,
        existing_firings: Sequence[int] | None,
        prior_precision: npt.ArrayLike | None,
    ) -> None:
        self.model = model = Model(factors, terms)
        self.kept = _existing_rows(model, existing)
        self.prior = _prior(model, prior_precision)
        self.total = runs + len(self.kept)
        if self.total + np.linalg.matrix_rank(self.prior) < model.width:
            raise Inestimable(
                f"{self.total} runs cannot estimate {model.width} terms; take at least {model.width} runs, leave "
                "terms out, or give the doubtful ones a prior precision",
                model.names,
            )
        known = information(model.rows(self.kept), *_grouping(existing_firings, len(self.kept), eta, "existing "))
        self.fixed = self.prior + known
        self.groups, self.shrink = _grouping(firings, runs, eta, "")
        self.weight: FloatArray | None = None
        if criterion == "A":
            self.weight = np.eye(model.width)
        elif criterion == "I":
            self.weight = region_moments(model, limits)
        fixed = self.fixed + _RIDGE * np.eye(model.width)
        named = None if limited is None else frozenset(limited)
        self.setting = Setting(model, tuple(limits), self.groups, self.shrink, fixed, self.weight, named)

    def shares(self, tables: FloatArray) -> FloatArray:
        """Value of each table as a share of the best of them, shape (m,)."""
        values = Batch(self.setting, tables).values()
        if self.weight is None:
            return np.asarray(np.exp((values - values.max()) / self.model.width))
        return np.asarray(values.max() / values)

    def judged(self, table: FloatArray, criterion: Criterion, starts: int, hits: int) -> ExactDesign:
        """The design with its value, or `Inestimable` where it cannot tell all terms apart."""
        model = self.model
        M = self.fixed + information(model.rows(table), self.groups, self.shrink)
        if np.linalg.cond(M) > 1e12:
            root = np.sqrt(np.maximum(np.diag(self.prior), 0.0))  # a term with prior precision is told apart by that
            rows = np.vstack([model.rows(table), model.rows(self.kept), np.diag(root)])
            tied = indistinguishable(rows, model.names)
            said = "; ".join(" and ".join(group) for group in tied)
            raise Inestimable(
                f"no {self.total} runs were found that tell apart: {said}", tuple(n for group in tied for n in group)
            )
        log_det = float(np.linalg.slogdet(M)[1])
        if self.weight is None:
            shown = 100.0 * float(np.exp(log_det / model.width)) / self.total
        else:
            shown = float(np.trace(self.weight @ np.linalg.inv(M)))
        return ExactDesign(table, shown, criterion, log_det, starts, hits)


def _grouping(
    sizes: Sequence[int] | None, runs: int, eta: float, which: str
) -> tuple[tuple[IntArray, ...], FloatArray]:
    """Row numbers of each firing and c_w = eta / (1 + m_w eta)."""
    if sizes is None:
        return (), np.empty(0)
    if min(sizes, default=1) < 1 or sum(sizes) != runs:
        raise ValueError(f"the {which}firings hold {list(sizes)}, which does not sum to {runs} runs")
    if not eta >= 0:
        raise ValueError(f"eta is a ratio of variances and cannot be {eta}")
    ends = np.cumsum(sizes)
    groups = tuple(np.arange(end - size, end) for size, end in zip(sizes, ends, strict=True))
    return groups, np.array([eta / (1.0 + size * eta) for size in sizes])


def _existing_rows(model: Model, existing: npt.ArrayLike | None) -> FloatArray:
    k = len(model.factors)
    kept = np.empty((0, k)) if existing is None else np.atleast_2d(np.asarray(existing, dtype=float))
    if kept.shape[1] != k:
        raise ValueError(f"existing runs need {k} columns, one per factor, got {kept.shape[1]}")
    return kept


def _prior(model: Model, prior_precision: npt.ArrayLike | None) -> FloatArray:
    if prior_precision is None:
        return np.zeros((model.width, model.width))
    given = np.asarray(prior_precision, dtype=float)
    precision = np.diag(given) if given.ndim == 1 else given
    if precision.shape != (model.width, model.width):
        raise ValueError(
            f"the prior precision must have one value per column of the model, {model.width}, got {given.shape}"
        )
    return precision
