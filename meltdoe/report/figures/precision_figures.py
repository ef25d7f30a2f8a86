"""What a plan promises before it is made: how precisely it predicts over the region, and what change it would show."""

from __future__ import annotations

import numpy as np

from meltdoe.plans.merits.assessment import Assessment
from meltdoe.plans.merits.effect_precision import measured_power
from meltdoe.report.figures.style import (
    BLACK,
    BLUE,
    GREY,
    PALE,
    SMALL,
    VERMILION,
    WIDTH,
    Picture,
    drawing,
    in_inches,
    new_figure,
)
from meltdoe.report.plain_text import shortened
from meltdoe.series.factor import FloatArray

__all__ = ["power_picture", "precision_picture"]

_HEIGHT = 2.5
_LEFT, _BOTTOM, _TOP, _RIGHT = 0.62, 0.5, 0.12, 0.12
_CHANGES = np.linspace(0.0, 6.0, 61)
_LOOKS = ((BLUE, "-"), (VERMILION, "--"), (BLACK, ":"))


def precision_picture(judged: Assessment) -> Picture | None:
    """Prediction variance against the share of the region where it is no larger; None where nothing can be fitted."""
    measures = judged.region
    found = measures.efficiencies
    if found is None:
        return None
    with drawing():
        figure = new_figure(_HEIGHT)
        wide, tall = WIDTH - _LEFT - _RIGHT, _HEIGHT - _BOTTOM - _TOP
        top = 1.12 * max(found.largest_variance, float(measures.variance[-1]))
        axes = in_inches(figure, _LEFT, _BOTTOM, wide, tall, xlim=(0, 100), ylim=(0, top))
        axes.plot(100.0 * measures.share, measures.variance, color=BLUE)
        axes.axhline(found.average_variance, color=GREY, lw=0.9, ls="--")
        axes.text(1.5, found.average_variance, "average", fontsize=SMALL, color=GREY, va="bottom")
        axes.axhline(found.largest_variance, color=VERMILION, lw=0.9, ls=":")
        axes.text(1.5, found.largest_variance, "worst corner", fontsize=SMALL, color=VERMILION, va="bottom")
        axes.set_xlabel("share of the allowed region (%)")
        axes.set_ylabel("variance of a prediction\n(melt-to-melt variances)")
    half, nine = float(measures.variance[20]), float(measures.variance[36])
    return Picture(
        "power-precision",
        figure,
        "How precisely the plan will predict, over the region",
        f"The variance of a prediction is at most {half:.2f} melt-to-melt variances in half of the allowed region, "
        f"{nine:.2f} in nine tenths of it, {found.average_variance:.2f} on average and {found.largest_variance:.2f} at "
        "the worst place.",
        f"For a model with {len(measures.columns)} coefficients and {len(judged.plan.melts)} melts, firings taken as "
        "alike. The line rises slowly where the plan predicts equally well everywhere, and steeply at the end where a "
        "few corners are badly known.",
    )


def power_picture(judged: Assessment) -> Picture | None:
    """The chance of showing a change, against its size: the weakest effect of each kind."""
    curves: list[tuple[str, FloatArray]] = []
    for kind in ("firings", "melts"):
        held = [e for e in judged.effects if e.judged_by == kind and e.estimable and e.df >= 1]
        if held:
            weakest = max(held, key=lambda effect: effect.standard_error)
            shown = [measured_power(x, weakest.standard_error, weakest.df, judged.level) for x in _CHANGES]
            curves.append((f"{shortened(str(weakest.term), 24)}, judged between {kind}", np.array(shown)))
    if not curves:
        return None
    with drawing():
        figure = new_figure(_HEIGHT)
        wide, tall = WIDTH - _LEFT - _RIGHT, _HEIGHT - _BOTTOM - _TOP
        axes = in_inches(figure, _LEFT, _BOTTOM, wide, tall, xlim=(0, _CHANGES[-1]), ylim=(0, 102))
        for (name, power), (colour, line) in zip(curves, _LOOKS, strict=False):
            axes.plot(_CHANGES, 100.0 * power, color=colour, ls=line, label=name)
        axes.axvline(judged.effect, color=PALE, lw=1.2, zorder=0)
        axes.axhline(80.0, color=PALE, lw=0.9, zorder=0)
        axes.legend(loc="lower right", handlelength=1.6)
        axes.set_xlabel("true change (melt-to-melt standard deviations)")
        axes.set_ylabel("chance of showing it (%)")
    said = []
    for name, power in curves:
        enough = np.flatnonzero(power >= 0.8)
        reach = f"reaches 80 % at a change of {_CHANGES[enough[0]]:.1f}" if len(enough) else "stays below 80 % up to 6"
        said.append(f"{name}: {100 * np.interp(judged.effect, _CHANGES, power):.0f} % for {judged.effect:g}, {reach}.")
    return Picture(
        "power",
        figure,
        "What change of a measured outcome the plan would show",
        " ".join(said),
        f"{len(judged.plan.melts)} melts. The weakest effect of each kind, two-sided test at "
        f"{100 * judged.level:.0f} % confidence, variance between firings taken as {judged.eta:g} times that between "
        "melts of a firing. Upright line: the change asked about; "
        "level line: 80 %.",
    )
