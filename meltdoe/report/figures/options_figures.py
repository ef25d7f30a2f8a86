"""The plans that could be bought, side by side: what each costs, also on average and at worst, and what it shows."""

from __future__ import annotations

from typing import Any

from meltdoe.plans.comparison import PlanComparison
from meltdoe.report.figures.style import (
    BLACK,
    BLUE,
    GREY,
    MICRO,
    PALE,
    VERMILION,
    WIDTH,
    Picture,
    drawing,
    in_inches,
    key_line,
    new_figure,
    quiet,
)
from meltdoe.report.plain_text import shortened
from meltdoe.report.plan_sentences import power_meaning

__all__ = ["options_picture"]

_LEFT, _GAP, _RIGHT, _TOP, _BOTTOM = 1.78, 0.2, 0.12, 0.3, 0.78  # inches
_ROW = 0.27


def options_picture(compared: PlanComparison, own: str = "") -> Picture:
    """One row a plan: left its cost, or its melts where no prices are known, right its power.

    Parameters
    ----------
    own : name of the plan that the series took, or empty.
    """
    options, priced = compared.options, compared.series.costs.known
    tall = _ROW * len(options)
    half = (WIDTH - _LEFT - _GAP - _RIGHT) / 2
    most = 1.08 * max(o.at_worst if priced else float(o.melts) for o in options)
    money = compared.series.budget.money or 0.0
    limited = priced and 0.0 < money < most
    with drawing():
        figure = new_figure(_TOP + tall + _BOTTOM)
        rows = range(len(options))
        span = (len(options) - 0.5, -0.5)
        left = in_inches(figure, _LEFT, _BOTTOM, half, tall, xlim=(0, most), ylim=span)
        right = in_inches(figure, _LEFT + half + _GAP, _BOTTOM, half, tall, xlim=(0, 104), ylim=span)
        for row, option in zip(rows, options, strict=True):
            if priced:
                left.plot([option.cost.sure, option.at_worst], [row, row], color=PALE, lw=2.4, zorder=1)
                left.plot(option.cost.sure, row, "|", ms=8, mec=BLACK, mew=1.4)
                left.plot(option.cost.total, row, "o", ms=5, mec=BLUE, mfc=BLUE)
                left.plot(option.at_worst, row, "x", ms=5, mec=VERMILION, mew=1.4)
            else:
                left.plot(option.melts, row, "o", ms=5, mec=BLUE, mfc=BLUE)
            right.plot([0, 100 * option.power], [row, row], color=BLUE, lw=3.2, solid_capstyle="butt")
            right.text(100 * option.power + 2, row, f"{100 * option.power:.0f}", fontsize=MICRO, va="center")
        if limited:
            left.axvline(money, color=GREY, lw=0.9, ls="--")
        left.set_yticks([])
        beside: dict[str, Any] = {"fontsize": MICRO, "va": "center", "transform": left.get_yaxis_transform()}
        left.text(-0.08 / half, -0.75, "melts", ha="right", color=GREY, **beside)
        for row, option in zip(rows, options, strict=True):
            star = "★ " if option.name == compared.recommended else ""
            weight = "bold" if option.name == own else "normal"
            name = shortened(option.name.rpartition(",")[0] or option.name, 20)
            left.text((0.06 - _LEFT) / half, row, star + name, fontweight=weight, **beside)
            left.text(-0.08 / half, row, f"{option.melts}", ha="right", fontweight=weight, **beside)
        quiet(right, "left")
        unit = f" ({compared.series.budget.currency})" if compared.series.budget.currency else ""
        left.set_xlabel(f"cost{unit}" if priced else "melts")
        right.set_xlabel("power (%)")
        cost_marks = (
            ({"marker": "|", "ms": 8, "mec": BLACK, "mew": 1.4}, "if all goes well"),
            ({"marker": "o", "ms": 5, "mec": BLUE, "mfc": BLUE}, "to expect"),
            ({"marker": "x", "ms": 5, "mec": VERMILION, "mew": 1.4}, "at worst"),
        )
        key_line(figure, (*(cost_marks if priced else ()), (None, "★ recommended")))
    said = [
        f"{o.name}: {o.firings} firings, "
        + (f"cost {o.cost.total:.0f} to expect and {o.at_worst:.0f} at worst, " if priced else "")
        + f"power {100 * o.power:.0f} %."
        for o in options
    ]
    taken = f" Taken: {own}." if own else ""
    cost = (
        "Cost: to expect counts the losses that beliefs, or common practice, let expect; at worst every melt fails "
        "where it costs most. "
        if priced
        else ""
    )
    return Picture(
        "plan-options",
        figure,
        "The plans that the budget allows, side by side",
        f"{len(options)} plans. {' '.join(said)} Recommended by cost and power: {compared.recommended}.{taken}",
        f"{cost}{'Broken line: the money there is. ' if limited else ''}Power: chance of showing "
        f"{power_meaning(compared)}, for the weakest factor. Star: recommended by cost and power alone"
        f"{'; bold: the plan of this series' if own else ''}.",
    )
