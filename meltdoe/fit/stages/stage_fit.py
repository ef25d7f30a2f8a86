"""One outcome fitted: the posterior that all predictions come from, with effects and classical estimates beside it.

The model is that of `meltdoe.fit.stages.stage_posterior`; the classical estimates are those of
`meltdoe.fit.stages.classical_fit`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import assert_never

import numpy as np

from meltdoe.fit.draws.inclusion_mixture import Effort
from meltdoe.fit.draws.posterior_draws import Posterior
from meltdoe.fit.stages.classical_fit import ClassicalFit, classical_columns, classical_fit
from meltdoe.fit.stages.effects import Effect, effects_of
from meltdoe.fit.stages.model_terms import Contrast, chosen_terms, contrasts_of, predicted_terms, with_second_order
from meltdoe.fit.stages.phrases import capital, good_phrase, listed
from meltdoe.fit.stages.stage_data import StageData, stage_data
from meltdoe.fit.stages.stage_posterior import (
    equal_draws,
    expected_reading,
    good_chance,
    model_rows,
    stage_mixture,
    term_inclusion,
    thinned,
)
from meltdoe.fit.stages.stage_separation import Split, find_split
from meltdoe.log.melt_log import Log
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome
from meltdoe.series.terms import Term

__all__ = ["StageFit", "fit_stage"]


@dataclass(frozen=True, eq=False)
class StageFit:
    """The fit of one outcome. Draws are made at once; effects and classical estimates when they are first asked for.

    Attributes
    ----------
    series : the series it belongs to. level : level of all its intervals.
    outcome : what was seen. terms : the terms that effects and classical estimates speak of, without the constant.
    model : the terms that predictions average over; `terms` and, where those are few, all products and squares.
    data : the rows that reached it and were seen.
    inclusion : posterior chance that each term matters.
    posterior : equally weighted draws, as many for every outcome of the chain.
    chemistry_right : chance, given the melts, that chemistry is right about this outcome; NaN where it does not speak.
    tried : weighted draws that reach further than `posterior`, or None; see `inclusion_mixture.MixturePosterior`.
    """

    series: MeltSeries
    level: float
    outcome: Outcome
    terms: tuple[Term, ...]
    model: tuple[Term, ...]
    data: StageData
    inclusion: Mapping[Term, float]
    posterior: Posterior
    chemistry_right: float = math.nan
    tried: Posterior | None = None

    @property
    def n_seen(self) -> int:
        """How many rows reached the outcome and were seen."""
        return self.data.n_seen

    @property
    def n_good(self) -> int:
        """How many of them were good; all, where good has no meaning."""
        return self.data.n_good

    @property
    def rows(self) -> tuple[int, ...]:
        """Positions of those rows in ``log.entries``."""
        return self.data.rows

    @cached_property
    def contrasts(self) -> tuple[Contrast, ...]:
        """The changes of settings that effects and classical coefficients speak of."""
        return contrasts_of(self.series, self.terms, self.data.raw)

    @cached_property
    def classical(self) -> ClassicalFit:
        """The fit without a prior, or the reason why there is none."""
        columns = classical_columns(self.data, self.contrasts)
        return classical_fit(self.data, self.contrasts, columns, self.level)

    @cached_property
    def effects(self) -> tuple[Effect, ...]:
        """What each change of settings does, in the order of the terms."""
        measured = self.outcome.kind == "measured"
        return effects_of(
            self.outcome,
            self.contrasts,
            self.data.raw if self.n_seen else self.series.coding.centre()[None],
            self.classical,
            self.inclusion,
            self._good_draws if self.outcome.counts or not measured else None,
            (lambda raw: expected_reading(self.posterior, self.outcome, self.model_matrix(raw))) if measured else None,
            self.level,
        )

    @cached_property
    def separation(self) -> Split | None:
        """The perfect split of the rows, or None."""
        columns = classical_columns(self.data, self.contrasts)
        kept = list(columns.independent)
        behind = [(), *(contrast.term.factors for contrast in self.contrasts)]
        behind += [(name,) for name in self.data.nuisance.names]
        names, factors_of = [columns.names[j] for j in kept], [behind[j] for j in kept]
        return find_split(self.series, self.data, columns.X[:, kept], names, factors_of)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """Sentences on what was left out or could not be had."""
        return _notes(self.data, self.classical, self.posterior)

    @property
    def firing_sd_draws(self) -> FloatArray:
        """(n_draws,) standard deviation of what melts of one firing share; zeros where that is not modelled."""
        return self.posterior.group_sd

    def model_matrix(self, raw: FloatArray) -> FloatArray:
        """Coded columns of raw settings (n, n_factors), circumstances at their average: (n, n_columns)."""
        return model_rows(self.series, self.model, np.atleast_2d(raw), len(self.data.nuisance.names))

    def chance_draws(self, raw: FloatArray, *, thin: int = 1) -> FloatArray:
        """Chance that this outcome is good in a new firing, given that its forerunners were: (n_draws, n).

        Parameters
        ----------
        raw : (n, n_factors) raw settings. thin : use every `thin`-th draw.

        Returns
        -------
        Ones for an outcome that is only described.
        """
        if not self.outcome.counts:
            return np.ones((len(self.posterior.draws[::thin]), len(np.atleast_2d(raw))))
        return self._good_draws(raw, thin)

    def _good_draws(self, raw: FloatArray, thin: int = 1) -> FloatArray:
        return good_chance(thinned(self.posterior, thin), self.outcome, self.model_matrix(raw))

    def outcome_draws(self, raw: FloatArray, *, thin: int = 1) -> FloatArray | tuple[FloatArray, FloatArray]:
        """What may be seen in a new firing at raw settings (n, n_factors); `thin` as in `chance_draws`.

        Returns
        -------
        pass : (n_draws, n, 2), the chance of yes, then of no. grade : (n_draws, n, n_grades), the best grade first.
        measured : the mean (n_draws, n) and the scatter of one value (n_draws,), firing included, in its unit.
        """
        X, draws = self.model_matrix(raw), thinned(self.posterior, thin)
        if self.outcome.kind == "pass":
            good = draws.chance(X, new_group=True)
            return np.stack([good, 1.0 - good], axis=-1)
        if self.outcome.kind == "grade":
            return draws.outcome_probabilities(X, new_group=True)
        if self.outcome.kind != "measured":
            assert_never(self.outcome.kind)
        return draws.linear(X), np.hypot(np.exp(draws.shape[:, 0]), draws.group_sd)


def fit_stage(
    series: MeltSeries,
    log: Log,
    outcome: Outcome,
    *,
    level: float,
    seed: Sequence[int],
    n_draws: int,
    beliefs: bool,
    effort: Effort = "full",
) -> StageFit:
    """Fit one outcome of a series.

    Parameters
    ----------
    level : level of all intervals.
    seed : whole numbers that fix the draws.
    n_draws : how many equally weighted draws to keep.
    beliefs : whether the beliefs of the series take part, chemistry's too.
    effort : see `inclusion_mixture.mixture_posterior`.
    """
    data = stage_data(series, log, outcome)
    terms = chosen_terms(series, data)
    model = predicted_terms(series, outcome, terms)
    mixture = stage_mixture(series, data, model, seed, n_draws, beliefs, effort)
    if not series.terms_of(outcome.name):
        shown = with_second_order(series, data, terms, term_inclusion(terms, mixture))
        if model is terms and shown is not terms:
            model, mixture = shown, stage_mixture(series, data, shown, seed, n_draws, beliefs, effort)
        terms = shown
    posterior = equal_draws(mixture.posterior, n_draws, seed)
    inclusion = term_inclusion(terms, mixture)
    right, tried = mixture.right, mixture.tried
    return StageFit(series, level, outcome, terms, model, data, inclusion, posterior, right, tried)


def _notes(data: StageData, classical: ClassicalFit, posterior: Posterior) -> tuple[str, ...]:
    notes = [capital(note) for note in data.notes]
    if data.nuisance.names:
        names = data.nuisance.names
        its = "its average" if len(names) == 1 else "their averages"
        notes.append(f"Allowed for, and taken at {its} in every prediction: {listed(names)}.")
    if data.groups is not None:
        title, by_melt = capital(good_phrase(data.outcome)), data.group_kind == "melt"
        if data.groups.any():
            shared = "castings of one melt" if by_melt else "melts of one firing"
            notes.append(f"{title}: {shared} are taken to share an effect of their own.")
        else:
            one, rows = ("melt", "castings") if by_melt else ("firing", "melts")
            notes.append(
                f"{title}: all {rows} seen are of one {one}, and what that {one} did to all of them alike cannot be "
                "told apart; the intervals allow for it."
            )
    if "left out" in classical.method:
        notes.append(f"Classical fit: {classical.method}.")
    reasons = dict.fromkeys(classical.reasons[label] for label in classical.tied)
    if classical.why_not and classical.why_not not in reasons:
        notes.append(f"No classical fit: {classical.why_not}.")
    if len(data.y):  # that nothing was seen is said with the count
        notes += [f"{capital(reason)}." for reason in reasons]
    if not posterior.diagnostics.trusted:
        found = posterior.diagnostics
        share = f"{found.effective:.0f}" if math.isfinite(found.effective) else "few"
        notes.append(f"The draws behind these figures are coarse (worth {share} independent ones).")
    return tuple(dict.fromkeys(notes))
