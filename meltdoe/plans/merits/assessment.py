"""What a plan can and cannot tell apart, how precisely, and what is lost when a melt or a firing drops out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from meltdoe.plans.held_factors import without_lost_options
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.merits.alias_words import aliased_words
from meltdoe.plans.merits.aliasing import indistinguishable
from meltdoe.plans.merits.drop_outs import DropOut, drop_out
from meltdoe.plans.merits.effect_precision import CHANCES, EffectPrecision, effect_precision, information
from meltdoe.plans.merits.pass_simulation import PassSimulation, simulate_passes
from meltdoe.plans.merits.region_measures import RegionMeasures, region_measures
from meltdoe.series.coding import Coding
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.terms import Term, cross_terms, main_terms, square_terms
from meltdoe.wording import listed

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Assessment", "DropOut", "assess", "mixed_up_terms", "resolution_of"]

# absolute correlation from which two effects are called mixed up: so few melts could not part them (our own choice; it
# inflates the variance fivefold)
_SAME = 0.9
_LONGEST_WORD = 6
_NAMED = 6  # effects of a list that are named where it is to be brief
_END = 0.5  # coded distance from the middle that counts as an end


@dataclass(frozen=True)
class Assessment:
    """A plan judged in the names of its factors.

    Parameters
    ----------
    terms : the terms judged: those given, those of the series, or main effects; without those of `still`.
    resolution : 3, 4, ... where all factors have two balanced levels; None where the word has no meaning, or where
        every combination was planned.
    effects : one per term.
    mixed_up : groups of main effects and two-factor interactions (and squares) that vary together in this plan.
    partly : the strongest correlation between a main effect and anything else, below 1.
    indistinguishable : groups of the judged terms that no outcome of this plan can tell apart.
    d_efficiency : 100 |X'X|^(1/p) / n in coded units, firings left out of account; 100 for an orthogonal two-level
        design.
    df_lack_of_fit, df_pure_error : different settings beyond the terms; melts beyond the different settings.
    eta : variance between firings over variance between melts that was assumed.
    effect, level, chances : what the powers are for: a change of a measured outcome in melt-to-melt standard
        deviations, the confidence level, and a pass chance from and to.
    carried_by_firings : effects set per melt that differences between firings carry, so that the two are confused.
    still : factors that stay the same in every melt.
    """

    plan: Plan
    terms: tuple[Term, ...]
    resolution: int | None
    effects: tuple[EffectPrecision, ...]
    mixed_up: tuple[tuple[str, ...], ...]
    partly: float
    indistinguishable: tuple[tuple[str, ...], ...]
    d_efficiency: float
    df_lack_of_fit: int
    df_pure_error: int
    carried_by_firings: tuple[str, ...]
    drop_melt: DropOut
    drop_firing: DropOut
    still: tuple[str, ...] = ()
    eta: float = 1.0
    effect: float = 2.0
    level: float = 0.90
    chances: tuple[float, float] = CHANCES

    @cached_property
    def region(self) -> RegionMeasures:
        """Efficiencies, prediction variance over the region, leverages, alias matrix and correlations."""
        return region_measures(self.plan.series, self.terms, self.plan.raw)

    def simulated(self, sets: int = 200) -> PassSimulation:
        """Power for a pass or fail and the share of separated sets, by simulation with the plan's own seed."""
        series = self.plan.series
        low, high = self.chances
        return simulate_passes(
            series.coding, self.terms, self.plan.raw, low=low, high=high, level=self.level, sets=sets,
            seed=self.plan.seed,
        )  # fmt: skip

    @property
    def power_measured(self) -> float:
        """The smallest power over the terms; 0 where one cannot be tested."""
        return min((float(np.nan_to_num(effect.power_measured)) for effect in self.effects), default=0.0)

    @property
    def power_pass(self) -> float:
        """The smallest power for pass/fail over the terms."""
        return min((effect.power_pass for effect in self.effects), default=0.0)

    @property
    def aliased(self) -> str:
        """All that is mixed up, as one phrase."""
        return self._aliased(brief=False)

    @property
    def aliased_briefly(self) -> str:
        """The same cut to what can be taken in at a glance; what is left out is counted."""
        return self._aliased(brief=True)

    def _aliased(self, *, brief: bool) -> str:
        mains = {str(term) for term in main_terms(self.plan.series.factors)}
        return aliased_words(self.mixed_up, self.partly, mains, brief=brief)

    def sentences(self) -> tuple[str, ...]:
        """The judgement in plain sentences, effect by effect."""
        said = []
        for effect in self.effects:
            if effect.estimable:
                power = (
                    f"a change of {self.effect:g} melt-to-melt standard deviations would be shown "
                    f"{100 * effect.power_measured:.0f} % of the time"
                    if effect.df
                    else "nothing is left over to judge it by"
                )
                said.append(
                    f"{effect.term}: standard error {effect.standard_error:.2f} melt-to-melt standard deviations, "
                    f"judged by differences between {effect.judged_by} ({effect.df} "
                    f"degree{'s' * (effect.df != 1)} of freedom); {power}."
                )
        first, *rest = self.summary(brief=False)
        return (first, *said, *rest)

    def summary(self, *, brief: bool = True) -> tuple[str, ...]:
        """The judgement of the whole plan, without its single effects; `brief` cuts long lists of what is mixed up."""
        plan = self.plan
        n_firings, melts = len(set(plan.firings)), len(plan.melts)
        said = [f"{melts} melts in {n_firings} firing{'s' * (n_firings != 1)}; {self._aliased(brief=brief)}."]
        most = _NAMED if brief else None
        if self.still:
            held = plan.series.show({name: plan.melts[0].settings[name] for name in self.still})
            said.append(f"The same in every melt, so that nothing is learnt of it: {held}.")
        said += [f"This plan cannot tell apart {listed(group, most)}." for group in self.indistinguishable]
        if self.carried_by_firings:
            said.append(
                f"Differences between firings carry {listed(self.carried_by_firings, most)}: what firings do of their "
                "own accord would be mistaken for them."
            )
        said.append(
            f"Left over to judge by: {self.df_lack_of_fit} degree{'s' * (self.df_lack_of_fit != 1)} of freedom for "
            f"what the terms leave out (lack of fit), {self.df_pure_error} for how far equal melts differ (pure error)."
        )
        for what, loss in (("melt", self.drop_melt), ("firing", self.drop_firing)):
            if loss.worst:
                lost = f", and {listed(loss.lost, most)} could no longer be estimated" if loss.lost else ""
                said.append(
                    f"Without one {what} the plan keeps {100 * loss.kept_average:.0f} % of its precision on average, "
                    f"{100 * loss.kept_worst:.0f} % without {what} {loss.worst}{lost}."
                )
        said.append(
            f"Assumed: variance between firings {self.eta:g} times that between melts of a firing; "
            f"{100 * self.level:.0f} % level; pass/fail by a normal approximation."
        )
        return tuple(said)

    def to_frame(self) -> pd.DataFrame:
        """One row per term."""
        import pandas as pd

        return pd.DataFrame(
            {
                "term": [str(effect.term) for effect in self.effects],
                "standard_error": [effect.standard_error for effect in self.effects],
                "judged_by": [effect.judged_by for effect in self.effects],
                "df": [effect.df for effect in self.effects],
                "power_measured": [effect.power_measured for effect in self.effects],
                "power_pass": [effect.power_pass for effect in self.effects],
            }
        )


def assess(
    plan: Plan,
    terms: Sequence[Term] | None = None,
    *,
    eta: float = 1.0,
    effect: float = 2.0,
    level: float = 0.90,
    chances: tuple[float, float] = CHANCES,
) -> Assessment:
    """Judge a plan before it is made.

    Parameters
    ----------
    terms : terms to judge; those of the series, or main effects, where None, as far as their factors vary.
    eta : variance between firings over variance between melts of one firing; 1 is a common default (Goos and Vandebroek
        2001, from memory) until the workshop knows better.
    effect : change in a measured outcome whose power is given, in melt-to-melt standard deviations.
    level : confidence level.
    chances : change of a pass chance whose power is given, from and to.
    """
    held = without_lost_options(plan.series, plan.raw)
    series, raw = held.series, held.without(plan.raw)
    coding, firings = series.coding, np.asarray(plan.firings)
    still = tuple(name for i, name in enumerate(series.factor_names) if len(raw) > 1 and np.ptp(raw[:, i]) == 0.0)
    judged = tuple(terms if terms is not None else series.terms or main_terms(series.factors))
    if terms is None and len(still) < len(series.factors):
        judged = tuple(term for term in judged if not set(term.factors) & set(still))
    known = information(coding, judged, raw, firings, eta)
    mixed_up, partly = mixed_up_terms(coding, raw)
    rank = int(np.linalg.matrix_rank(known.X))
    different = len(np.unique(raw, axis=0))
    return Assessment(
        plan=plan,
        terms=judged,
        resolution=resolution_of(coding, raw),
        effects=effect_precision(coding, judged, raw, firings, eta=eta, effect=effect, level=level, chances=chances),
        mixed_up=mixed_up,
        partly=partly,
        indistinguishable=indistinguishable(known.X, coding.column_names(judged)),
        d_efficiency=_d_efficiency(known.X),
        df_lack_of_fit=max(0, different - rank),
        df_pure_error=len(raw) - different,
        carried_by_firings=_carried(coding, raw, known.firing),
        drop_melt=drop_out(known, coding, judged, np.arange(len(raw)), [m.melt for m in plan.melts]),
        drop_firing=drop_out(known, coding, judged, known.firing, sorted(set(plan.firings))),
        still=still,
        eta=eta,
        effect=effect,
        level=level,
        chances=chances,
    )


def resolution_of(coding: Coding, raw: FloatArray) -> int | None:
    """Length of the shortest word of a two-level table, partial ones counted.

    Melts in the middle are left aside; an end that was moved a little for a limit still counts as that end.

    The shortest set of columns whose product is not balanced (Tang and Deng 1999, Ann. Statist. 27, from memory: the
    whole part of the generalised resolution). None for other tables, unbalanced ones and full factorials.
    """
    columns = [coding.factor_columns(name, raw) for name in coding.names]
    if any(column.shape[1] > 1 for column in columns):
        return None
    table = np.column_stack(columns)
    amounts = [i for i, factor in enumerate(coding.factors) if isinstance(factor, Amount)]
    if amounts:
        table = table[np.abs(table[:, amounts]).max(axis=1) > 0.1]
    if not len(table) or np.abs(table).min() < _END:
        return None
    table = np.sign(table)
    for length in range(1, min(table.shape[1], _LONGEST_WORD) + 1):
        members = np.array(list(combinations(range(table.shape[1]), length)))
        if np.abs(table[:, members].prod(axis=2).sum(axis=0)).max() > 1e-6:
            return length if length > 2 else None
    return None


def mixed_up_terms(coding: Coding, raw: FloatArray) -> tuple[tuple[tuple[str, ...], ...], float]:
    """Groups of effects whose columns vary together, and the strongest other correlation of a main effect.

    Main effects, two-factor interactions and, where an amount takes more than two values, its square. Terms of several
    columns are compared by their most alike columns.
    """
    mains, crosses = main_terms(coding.factors), cross_terms(coding.factors)
    squares = tuple(
        t for t in square_terms(coding.factors) if len(np.unique(coding.factor_columns(t.factors[0], raw))) > 2
    )
    terms = (*mains, *crosses, *squares)
    columns = [coding.term_columns(term, raw) for term in terms]
    owner = np.repeat(np.arange(len(terms)), [block.shape[1] for block in columns])
    X = np.column_stack(columns)
    X = X - X.mean(axis=0)
    length = np.sqrt((X**2).sum(axis=0))
    X = X / np.where(length > 1e-9, length, np.inf)
    between = np.abs(X.T @ X)
    alike = np.zeros((len(terms), len(terms)))
    np.maximum.at(alike, (owner[:, None], owner[None, :]), between)
    np.fill_diagonal(alike, 0.0)
    label = list(range(len(terms)))
    for i, j in zip(*np.nonzero(np.triu(alike >= _SAME)), strict=True):
        label = [label[i] if old == label[j] else old for old in label]
    groups = [tuple(str(terms[i]) for i in range(len(terms)) if label[i] == first) for first in dict.fromkeys(label)]
    strongest = float(alike[: len(mains)][alike[: len(mains)] < _SAME].max(initial=0.0))
    return tuple(group for group in groups if len(group) > 1), strongest


def _d_efficiency(X: FloatArray) -> float:
    sign, log_det = np.linalg.slogdet(X.T @ X)
    return 100.0 * float(np.exp(log_det / X.shape[1])) / len(X) if sign > 0 else 0.0


def _carried(coding: Coding, raw: FloatArray, firing: npt.NDArray[np.int64]) -> tuple[str, ...]:
    """Main effects and interactions that change between melts of a plan's making but, as it fell, only with firings."""
    count = int(firing.max()) + 1
    if count in (1, len(raw)):
        return ()
    whole = {f.name for f in coding.factors if f.set_per == "firing"}
    found = []
    for term in (*main_terms(coding.factors), *cross_terms(coding.factors)):
        if set(term.factors) <= whole:
            continue
        columns = coding.term_columns(term, raw)
        columns = columns - columns.mean(axis=0)
        means = np.zeros((count, columns.shape[1]))
        np.add.at(means, firing, columns)
        means /= np.bincount(firing)[:, None]
        total = (columns**2).sum(axis=0)
        between = (means[firing] ** 2).sum(axis=0)
        if (total > 1e-9).any() and (between[total > 1e-9] >= _SAME * total[total > 1e-9]).any():
            found.append(str(term))
    return tuple(found)
