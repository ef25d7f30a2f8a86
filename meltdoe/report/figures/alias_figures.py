"""Which effects of the plan go along with each other: size of the correlation of their columns, 0 to 1."""

from __future__ import annotations

import numpy as np

from meltdoe.fit.stages.phrases import listed
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.figures.style import (
    BLACK,
    GREY,
    MICRO,
    SMALL,
    SURE,
    WIDTH,
    Picture,
    drawing,
    in_inches,
    new_figure,
    quiet,
)
from meltdoe.report.plain_text import one_line, shortened
from meltdoe.series.factor import FloatArray
from meltdoe.series.terms import Term, cross_terms, main_terms

__all__ = ["alias_picture"]

_MOST_FACTORS, _MOST_ROWS = 7, 28  # more products could not be read on a telephone
_LETTERS = 18
_LEFT, _TOP, _NAMES, _FOOT = 1.15, 0.1, 0.52, 0.3  # inches
_TOLD_FROM = 0.05  # correlations below are called none
_MIXED_FROM = 0.9  # from which two effects count as mixed up, as in the table of what a plan mixes up


def alias_picture(plan: Plan) -> Picture | None:
    """Main effects against all main effects and two-factor products; None where they are too many or too few."""
    factors = plan.series.factors
    if not 2 <= len(factors) <= _MOST_FACTORS or len(plan.melts) < 3:
        return None
    mains, crosses = main_terms(factors), cross_terms(factors)
    rows, columns = (*mains, *crosses)[:_MOST_ROWS], mains
    sizes = np.array([[_size(plan, row, column) for column in columns] for row in rows])
    names = [shortened(str(term).replace(" * ", " × "), _LETTERS) for term in rows]
    with drawing():
        wide = WIDTH - _LEFT - 0.08
        cell = min(0.24, 5.5 / len(rows))
        tall = cell * len(rows)
        figure = new_figure(_TOP + tall + _NAMES + _FOOT)
        axes = in_inches(figure, _LEFT, _FOOT + _NAMES, wide, tall, xlim=(0, len(columns)), ylim=(len(rows), 0))
        quiet(axes, "left", "bottom", "top", "right")
        itself = np.array([[row == column for column in columns] for row in rows])
        axes.pcolormesh(np.where(itself, 0.0, sizes), cmap=SURE, vmin=0, vmax=1, edgecolors="white", lw=0.8)
        for i, j in np.ndindex(sizes.shape):
            if itself[i, j]:
                axes.plot(j + 0.5, i + 0.5, "s", ms=4.5, mfc="none", mec=GREY, mew=0.8)
            elif sizes[i, j] >= _TOLD_FROM:
                said = "1" if sizes[i, j] > 0.995 else f"{sizes[i, j]:.2f}"[1:]
                axes.text(j + 0.5, i + 0.53, said, fontsize=MICRO, ha="center", va="center", color=BLACK)
        axes.axhline(len(mains), color=GREY, lw=0.8)
        for i, name in enumerate(names):
            axes.text(-0.1, i + 0.52, name, fontsize=SMALL, ha="right", va="center")
        for j, name in enumerate(names[: len(columns)]):
            axes.text(j + 0.6, len(rows) + 0.15, shortened(name, 10), fontsize=SMALL, ha="right", va="top", rotation=35)
        foot = in_inches(figure, 0.1, 0.05, WIDTH - 0.2, 0.25, xlim=(0, 1), ylim=(0, 1))
        quiet(foot, "left", "bottom", "top", "right")
        said = "blank: none; 1: cannot be told apart; square: the effect itself"
        foot.text(0, 0.5, said, fontsize=SMALL, va="center", style="italic")
    clashes = [
        (str(rows[i]), str(columns[j]))
        for i, j in np.ndindex(sizes.shape)
        if sizes[i, j] >= _MIXED_FROM and rows[i] != columns[j] and not (i < len(mains) and i > j)
    ]
    pairs = [f"{one} with {other}".replace(" * ", " × ") for one, other in clashes[:6]]
    more = f" and {len(clashes) - 6} more pairs" if len(clashes) > 6 else ""
    others = sizes[~itself]
    return Picture(
        "alias",
        figure,
        "Which effects the plan mixes up",
        one_line(
            (
                f"Cannot be told apart: {listed(pairs)}{more}. "
                if pairs
                else "No main effect is mixed up with another effect. "
            )
            + f"The largest correlation short of that is {_largest(others):.2f}."
        ),
        f"n = {len(plan.melts)} melts. Size of the correlation between the columns of effects, planned settings; "
        "columns: main effects; rows: main effects and, below the line, two-factor interactions. The darker, the less "
        "the melts can part the two.",
    )


def _largest(sizes: FloatArray) -> float:
    below = sizes[sizes < _MIXED_FROM]
    return float(np.max(below)) if below.size else 0.0


def _size(plan: Plan, one: Term, other: Term) -> float:
    """Largest correlation, as a size, of what the columns of two terms can make: the first canonical correlation."""
    raw, coding = plan.raw, plan.series.coding
    sides = [_basis(coding.term_columns(term, raw)) for term in (one, other)]
    if not all(side.shape[1] for side in sides):
        return 0.0
    return float(np.minimum(1.0, np.linalg.norm(sides[0].T @ sides[1], 2)))


def _basis(columns: FloatArray) -> FloatArray:
    """Orthonormal columns that span the centred ones."""
    u, s, _ = np.linalg.svd(columns - columns.mean(axis=0), full_matrices=False)
    return np.asarray(u[:, s > 1e-9 * max(1.0, *s.tolist())])
