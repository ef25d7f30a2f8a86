"""Effects of an unreplicated two-level plan on half-normal axes, with Lenth's margins.

Drawn only where it means something: one measured outcome seen in every melt of a balanced two-level plan that has no
repeats and no firings shared by several melts (their effects would have a larger noise of their own).
"""

from __future__ import annotations

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.half_normal import LenthResult, half_normal_quantiles, lenth, two_level_effects
from meltdoe.fit.stages.phrases import listed, measure
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.figures.style import (
    BLUE,
    GREY,
    SMALL,
    VERMILION,
    WIDTH,
    Picture,
    drawing,
    file_name,
    in_inches,
    new_figure,
)
from meltdoe.report.plain_text import one_line, shortened
from meltdoe.series.factor import Amount, FloatArray

__all__ = ["half_normal_picture"]

_FEWEST = 7  # effects below which the method has little to stand on
_DUST = 1e-9  # what is no more than this share of the largest effect is rounding
_NEAR = 0.02  # coded distance from a level that still is that level


def half_normal_picture(stage: StageFit, plan: Plan | None, position: int) -> Picture | None:
    """The figure of one measured outcome, or None where the plan does not allow it."""
    rows = _two_level_rows(stage, plan)
    if rows is None:
        return None
    table, y = rows
    try:
        found = two_level_effects(table, y)
        judged = lenth(found.effects, stage.level)
    except Inestimable:
        return None
    if len(found.effects) < _FEWEST or judged.pse <= _DUST * np.abs(found.effects).max():
        return None
    names = stage.series.factor_names
    labels = [" × ".join(names[i] for i in term) for term in found.terms]
    order = np.argsort(np.abs(found.effects), kind="stable")
    outcome, unit = stage.outcome, one_line(stage.outcome.unit)
    with drawing():
        figure = new_figure(3.1)
        axes = in_inches(figure, 0.6, 0.55, WIDTH - 0.8, 2.4)
        size, place = np.abs(found.effects)[order], half_normal_quantiles(len(order))
        beyond = judged.beyond_margin[order]
        axes.plot([0, judged.pse * place[-1] * 1.05], [0, place[-1] * 1.05], color=GREY, lw=0.9)
        for margin, style in ((judged.margin, (0, (4, 2))), (judged.simultaneous_margin, (0, (1, 1.5)))):
            axes.axvline(margin, color=VERMILION, lw=1.1, ls=style)
        top = max(float(size[-1]), judged.simultaneous_margin) * 1.12
        axes.set(xlim=(0, top), ylim=(0, place[-1] * 1.15))
        for x, q, i, out in zip(size, place, order, beyond, strict=True):
            axes.plot(x, q, "o", ms=5, mec=BLUE, mfc=BLUE if out else "white", mew=1.2)
            if out or i in order[-3:]:
                right = x > 0.6 * top
                label = shortened(labels[i], 26)
                axes.annotate(
                    label, (x, q), (-6 if right else 6, 0), textcoords="offset points", fontsize=SMALL, va="center",
                    ha="right" if right else "left", bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4},
                )  # fmt: skip
        axes.set_xlabel(f"size of the effect on {shortened(outcome.name, 24)}" + (f" ({unit})" if unit else ""))
        axes.set_ylabel("half-normal quantile")
    return Picture(
        file_name("half-normal", position, outcome.name),
        figure,
        f"Which effects on {one_line(outcome.name)} stand out from the rest",
        _alt(judged, labels, unit),
        f"{len(y)} melts of two levels, nothing repeated; an effect is the mean at the high level minus the mean at "
        f"the low one, in {unit or 'units of the outcome'}. The line is where effects that are nothing but scatter "
        f"would lie; dashed: margin of one effect, dotted: of the largest of all {len(labels)}, both at the "
        f"{100 * stage.level:g} % level (Lenth). The method assumes that most effects are nothing."
        + _aliases(found.aliases, labels, names),
    )


def _two_level_rows(stage: StageFit, plan: Plan | None) -> tuple[FloatArray, FloatArray] | None:
    """Table of -1 and +1 and what was measured, one row a melt, middle ones left out; None where it is not one."""
    series = stage.series
    if plan is None or stage.outcome.kind != "measured" or series.moulds_per_melt > 1 or stage.data.groups is not None:
        return None
    if any(len(getattr(factor, "options", ("", ""))) != 2 for factor in series.factors):
        return None
    planned = {melt.melt for melt in plan.melts}
    seen = dict(zip(stage.data.melts, range(stage.n_seen), strict=True))
    if not planned <= seen.keys() or len(planned) < 4:
        return None
    rows = [seen[melt] for melt in sorted(planned)]
    coded = np.column_stack([series.coding.factor_columns(name, stage.data.raw[rows]) for name in series.factor_names])
    amounts = [i for i, factor in enumerate(series.factors) if isinstance(factor, Amount)]
    kept = np.abs(coded[:, amounts]).max(axis=1, initial=0.0) > 0.1 if amounts else np.ones(len(coded), dtype=bool)
    table, y = np.sign(coded[kept]), stage.data.y[rows][kept]
    if len(table) < 4 or np.abs(np.abs(coded[kept]) - 1).max() > _NEAR or len(np.unique(table, axis=0)) < len(table):
        return None
    between = table.T @ table
    if np.abs(table.sum(axis=0)).max() > 0 or np.abs(between - np.diag(np.diag(between))).max() > 0:
        return None
    return table, y


def _alt(judged: LenthResult, labels: list[str], unit: str) -> str:
    order = np.argsort(-np.abs(judged.effects), kind="stable")
    out = [i for i in order if judged.beyond_margin[i]]
    said = [f"{one_line(labels[i])} {measure(float(judged.effects[i]), unit, sign=True)}" for i in out]
    margin = f"margin {measure(judged.margin, unit)}, of the largest {measure(judged.simultaneous_margin, unit)}"
    if not said:
        i = int(order[0])
        return (
            f"None of {len(labels)} effects stands out; the largest is {one_line(labels[i])} "
            f"{measure(float(judged.effects[i]), unit, sign=True)}; {margin}."
        )
    return f"{len(said)} of {len(labels)} effects stand out: {listed(said)}; {margin}."


def _aliases(aliases: tuple[tuple[tuple[int, ...], ...], ...], labels: list[str], names: tuple[str, ...]) -> str:
    """The shortest other name of each effect; with few melts most effects have several."""
    mixed = [
        f"{label} with {' × '.join(names[i] for i in min(others, key=len))}"
        for label, others in zip(labels, aliases, strict=True)
        if others and len(min(others, key=len)) <= 2
    ]
    return f" Mixed up in this plan: {one_line('; '.join(mixed[:6]))}." if mixed else ""
