"""The classical fit of one outcome: what the rows say without any prior, and what they cannot say.

    pass      logistic regression with Jeffreys' penalty (Firth 1993), profile limits, penalised likelihood ratio tests
    grade     proportional odds, penalised in the same way; signs turned so that larger means better grades
    measured  least squares; where firings (or melts) hold several rows, REML with them as whole plots

The columns are the contrasts of `meltdoe.fit.stages.model_terms`, so a coefficient is the change of the linear
predictor from one stated setting to another. Columns that depend on others are left out before fitting: the fit, and
the coefficients of the columns that depend on nothing, are the same whichever of them stays (Jeffreys' penalty shifts
by a constant).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias, assert_never

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.firth_logistic import FirthFit, firth
from meltdoe.fit.classical.least_squares import LinearFit, least_squares
from meltdoe.fit.classical.ordered_logit import OrderedFit, ordered_logit
from meltdoe.fit.classical.split_plot_reml import SplitPlotFit, split_plot
from meltdoe.fit.stages.model_terms import Contrast, independent_columns, tied_terms
from meltdoe.fit.stages.stage_data import StageData
from meltdoe.series.factor import FloatArray
from meltdoe.series.outcome import OutcomeKind

__all__ = ["ClassicalFit", "Estimate", "classical_columns", "classical_fit"]

Fitted: TypeAlias = FirthFit | OrderedFit | LinearFit | SplitPlotFit


class Estimate(NamedTuple):
    """Change of the linear predictor over a contrast (log odds, or the outcome's unit), with limits and a p value."""

    estimate: float
    low: float
    high: float
    p_value: float | None


@dataclass(frozen=True, slots=True, eq=False)
class ClassicalFit:
    """A classical fit, or the reason why there is none.

    Attributes
    ----------
    method : its name for the methods paragraph.
    level : level of the limits.
    estimates : by label of the contrast; holds only what the rows can settle.
    reasons : by label, why a contrast has no estimate.
    tied : labels of the contrasts that the rows cannot tell from others, whatever is fitted, in their order.
    fit : the fit itself, or None.
    why_not : why there is no fit at all; empty otherwise.
    """

    method: str
    level: float
    estimates: Mapping[str, Estimate]
    reasons: Mapping[str, str]
    tied: tuple[str, ...]
    fit: Fitted | None
    why_not: str = ""


class Columns(NamedTuple):
    """Model matrix of the classical fit (constant, contrasts, circumstances) with a name for each column."""

    X: FloatArray
    names: tuple[str, ...]
    independent: tuple[int, ...]


def classical_columns(data: StageData, contrasts: Sequence[Contrast]) -> Columns:
    """The columns of the classical fit and which of them are independent, earlier ones first."""
    X = np.column_stack([np.ones(data.n_seen), *(c.column for c in contrasts), data.nuisance.columns])
    names = ("constant", *(contrast.label for contrast in contrasts), *data.nuisance.names)
    return Columns(X, names, independent_columns(X))


def classical_fit(data: StageData, contrasts: Sequence[Contrast], columns: Columns, level: float) -> ClassicalFit:
    """Fit one outcome's rows; never raises for what the data lack, but says what that is.

    Parameters
    ----------
    contrasts : one for each column of `columns` behind the constant, before the circumstances.
    level : level of the limits.
    """
    reasons = tied_terms(columns.X, columns.names, data.outcome.name)
    labels = [contrast.label for contrast in contrasts]
    tied = tuple(label for label in labels if label in reasons)
    kept = list(columns.independent)
    names = [columns.names[j] for j in kept]
    method = _METHOD[data.outcome.kind]

    def none(why: str) -> ClassicalFit:
        whys = {label: reasons.get(label, why) for label in labels}
        return ClassicalFit(method, level, {}, whys, tied, None, why)

    if data.n_seen < 2:
        return none(reasons[columns.names[1]] if len(columns.names) > 1 else "too few melts have been seen")
    try:
        fit: Fitted
        if data.outcome.kind == "pass":
            fit = firth(columns.X[:, kept], data.y, level=level, names=names)
        elif data.outcome.kind == "grade":
            if len(kept) < 2:
                return none("no setting was changed in a way that can be told apart")
            fit = ordered_logit(columns.X[:, kept[1:]], data.y, len(data.outcome.grades), level=level, names=names[1:])
        elif data.outcome.kind == "measured":
            fit, method = _measured(data, columns, kept, level, names)
        else:
            assert_never(data.outcome.kind)
    except Inestimable as error:
        return none(str(error))
    estimates = _estimates(fit, names)
    settled = {label: estimates[label] for label in labels if label not in reasons and label in estimates}
    why = {label: reasons.get(label, _UNSETTLED) for label in labels if label not in settled}
    return ClassicalFit(method, level, settled, why, tied, fit)


_METHOD: dict[OutcomeKind, str] = {
    "pass": "penalised logistic regression",
    "grade": "penalised proportional odds",
    "measured": "least squares",
}
_UNSETTLED = "the fit meets every melt exactly, so nothing is left over to judge the scatter by"


def _measured(
    data: StageData, columns: Columns, kept: list[int], level: float, names: list[str]
) -> tuple[LinearFit | SplitPlotFit, str]:
    X, reason = columns.X[:, kept], ""
    if data.groups is not None:
        try:
            fit = split_plot(X, data.y, {data.group_kind: data.groups}, level=level, names=names)
        except Inestimable as error:
            # Never ignored in silence: the limits are then too narrow for whatever is set once per firing.
            reason = f"; what a {data.group_kind} shares is left out, as {error}"
        else:
            return fit, f"REML with {data.group_kind}s as whole plots"
    return least_squares(X, data.y, level=level, names=names), f"least squares{reason}"


def _estimates(fit: Fitted, names: Sequence[str]) -> dict[str, Estimate]:
    """Finite estimates by name of the column; grades turned round so that larger is better."""
    sign = -1.0 if isinstance(fit, OrderedFit) else 1.0
    labels = names[1:] if isinstance(fit, OrderedFit) else names
    found = {}
    for label, coef, low, high, p in zip(labels, fit.coef, fit.low, fit.high, fit.p_values, strict=True):
        ends = sorted((sign * float(low), sign * float(high)))
        if np.isfinite([coef, *ends]).all():
            found[label] = Estimate(sign * float(coef), ends[0], ends[1], float(p) if np.isfinite(p) else None)
    return found
