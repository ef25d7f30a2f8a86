"""Whether the model of an outcome holds, where the melts can say so: repeats, and one slope for all grades.

Repeats    Melts on the same steps of every factor count as repeats (actual settings seldom agree to the last digit).
           The residual of the classical fit within them is pure error, the rest lack of fit. With exact repeats this is
           the textbook test (Draper & Smith 1998, Applied Regression Analysis, 3rd ed., from memory); for near repeats
           it follows Daniel & Wood 1971, Fitting Equations to Data (from memory).
Grades     likelihood ratio test of proportional odds (`meltdoe.fit.classical.proportional_odds`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.least_squares import LackOfFit, LinearFit, lack_of_fit
from meltdoe.fit.classical.proportional_odds import ProportionalityTest, proportional_odds_test
from meltdoe.fit.stages.classical_fit import classical_columns
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries

__all__ = ["RepeatCheck", "proportionality_check", "repeat_check", "repeated_settings"]


@dataclass(frozen=True, slots=True)
class RepeatCheck:
    """Repeats of one measured outcome.

    Attributes
    ----------
    repeats : melts of each setting made more than once.
    scatter, df : standard deviation of repeats about their mean, after the fit, and its degrees of freedom.
    test : lack of fit against that scatter, or None; `why_not` then says why.
    """

    repeats: tuple[tuple[int, ...], ...]
    scatter: float
    df: int
    test: LackOfFit | None
    why_not: str


def repeated_settings(series: MeltSeries, raw: FloatArray) -> FloatArray:
    """Settings (n, n_factors) as numbers that agree for melts on the same steps, beyond the planned range too."""
    columns = []
    for i, factor in enumerate(series.factors):
        step = factor.step if isinstance(factor, Amount) and factor.step else None
        start = factor.low if isinstance(factor, Amount) else 0.0
        columns.append(np.round((raw[:, i] - start) / step) if step else np.round(raw[:, i], 9))
    return np.column_stack(columns)


def repeat_check(stage: StageFit) -> RepeatCheck | None:
    """Pure error and lack of fit; None for other outcomes than measured ones, without repeats, or without a fit."""
    fit, data = stage.classical.fit, stage.data
    if stage.outcome.kind != "measured" or not isinstance(fit, LinearFit):
        return None
    settings = repeated_settings(stage.series, data.raw)
    _, label = np.unique(settings, axis=0, return_inverse=True)
    label = label.reshape(-1)
    melts = np.array(data.melts)
    count = np.bincount(label)
    df = int(data.n_seen - len(count))
    if not df:
        return None
    mean = np.bincount(label, weights=fit.residuals) / count
    scatter = float(np.sqrt(np.sum((fit.residuals - mean[label]) ** 2) / df))
    test, why_not = None, ""
    try:
        test = lack_of_fit(fit, fit.residuals, settings)
    except Inestimable as error:
        why_not = str(error)
    repeats = tuple(tuple(sorted(int(m) for m in melts[label == k])) for k in np.flatnonzero(count > 1))
    return RepeatCheck(tuple(sorted(repeats)), scatter, df, test, why_not)


def proportionality_check(stage: StageFit) -> ProportionalityTest | None:
    """The test for a graded outcome; None for others, and where nothing was changed in a way that can be told apart."""
    if stage.outcome.kind != "grade" or stage.n_seen < 2:
        return None
    columns = classical_columns(stage.data, stage.contrasts)
    kept = [j for j in columns.independent if j]
    if not kept:
        return None
    names = [columns.names[j] for j in kept]
    try:
        return proportional_odds_test(columns.X[:, kept], stage.data.y, len(stage.outcome.grades), names=names)
    except Inestimable:
        return None
