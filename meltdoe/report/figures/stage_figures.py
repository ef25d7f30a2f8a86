"""Which stage fails where: out of 100 melts along the factor that matters most, how many end at which stage."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import listed, percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.log.melt_log import Entry, Log
from meltdoe.report.figures.held import held_phrase, turned
from meltdoe.report.figures.melt_marks import left_out_words, put_marks, spread_out
from meltdoe.report.figures.style import (
    BEST,
    BLACK,
    GREY,
    PALE,
    SMALL,
    WIDTH,
    Picture,
    amount_range,
    drawing,
    factor_axis,
    in_inches,
    new_figure,
    quiet,
)
from meltdoe.report.plain_text import one_line, shortened
from meltdoe.series.factor import Amount, FloatArray

__all__ = ["stage_picture"]

_POINTS = 41
_HIGH, _LEFT, _LANE, _FOOT = 2.0, 1.05, 0.2, 0.52  # inches
_LOOKS = (
    ("#F3C6A5", "///"), ("#F7E3A1", "..."), ("#BFE3D6", "xxx"),
    ("#D9C5DF", "\\\\\\"), ("#C9D6EA", "+++"), ("#E5E5E5", "ooo"),
)  # fmt: skip


def stage_picture(chain: ChainFit, best: BestSetting, along: int) -> Picture | None:
    """Expected ends of 100 melts as the factor at position `along` is turned; None where nothing is judged."""
    series = chain.series
    stages = [stage.outcome.name for stage in chain.stages if stage.outcome.counts]
    if not stages:
        return None
    factor = series.factors[along]
    values = _values(chain, along)
    table = turned(best.raw, {along: values})
    lost = 100 * (1 - chain.chance(table).mean)
    by_stage = chain.stage_failure_share(table)
    shares = np.array([by_stage[name] * lost for name in stages])
    names = [name.replace("_", " ") for name in stages]
    ends = [_end(chain.log, entry, stages) for entry in chain.log.entries]
    lanes = len(stages) + 1
    with drawing():
        low = _FOOT + lanes * _LANE + 0.12
        figure = new_figure(low + _HIGH + 0.2)
        axes = in_inches(figure, _LEFT, low, WIDTH - _LEFT - 0.12, _HIGH)
        _areas(axes, values, shares, isinstance(factor, Amount))
        factor_axis(axes, "x", factor, chain.log.raw[:, along], label=False, ticks=False)
        axes.set(ylim=(0, 100), ylabel="out of 100 melts")
        if isinstance(factor, Amount):
            axes.axvline(best.raw[along], color=BLACK, lw=0.9, ls=(0, (4, 2)), zorder=1)
        axes.plot(best.raw[along], 102, "*", ms=11, mfc=BEST.face, mec=BEST.edge, mew=0.8, clip_on=False, zorder=7)
        _names(axes, values, shares, names, isinstance(factor, Amount))
        strip = in_inches(figure, _LEFT, _FOOT, WIDTH - _LEFT - 0.12, lanes * _LANE)
        factor_axis(strip, "x", factor, chain.log.raw[:, along])
        _ends(strip, chain, along, ends, names)
    at_best = {name: float(v[0]) for name, v in chain.stage_failure_share(best.raw).items()}
    count = [sum(end == i for end in ends) for i in range(lanes)]
    held = held_phrase(chain, best, (along,))
    return Picture(
        "stages",
        figure,
        f"Where melts are expected to end, along {one_line(factor.name)}",
        one_line(
            f"At the best setting {percent(1 - best.chance)} of melts are expected to fail: "
            + listed([f"{percent(share)} of these at {name.replace('_', ' ')}" for name, share in at_best.items()])
            + ". Of the melts seen, "
            + listed(
                [f"{n} ended at {name}" for n, name in zip(count, names, strict=False) if n]
                + [f"{count[-1]} {'was' if count[-1] == 1 else 'were'} good throughout"]
            )
            + "."
        ),
        f"Average expectation out of 100 melts. {'Other factors ' + held + '. ' if held else ''}Hatched areas: melts "
        "that end at a stage; white: good throughout; star: the best setting. How sure the whole is stands in the map "
        f"of chances. Below, the {len(ends)} melts seen, each where it ended; one whose end is not known is left out."
        + left_out_words(chain.log, (along,)),
    )


def _values(chain: ChainFit, along: int) -> FloatArray:
    factor = chain.series.factors[along]
    if not isinstance(factor, Amount):
        return factor.grid()
    ends = factor.coded(np.array(amount_range(factor, chain.log.raw[:, along])))
    return factor.decoded(np.linspace(ends[0], ends[1], _POINTS))


def _end(log: Log, entry: Entry, stages: list[str]) -> int | None:
    """Position of the first stage that was not good; one past the last where all was; None where not known."""
    if log.succeeded(entry):
        return len(stages)
    for i, name in enumerate(stages):
        if log.series.outcome(name).is_good(entry.seen[name]) is False:
            return i
    return None


def _areas(axes: Axes, values: FloatArray, shares: FloatArray, smooth: bool) -> None:
    base = np.zeros(len(values))
    for (colour, hatch), share in zip(_looks(len(shares)), shares, strict=True):
        if smooth:
            axes.fill_between(values, base, base + share, facecolor=colour, edgecolor=GREY, hatch=hatch, lw=0.6)
        else:
            axes.bar(values, share, 0.7, base, facecolor=colour, edgecolor=GREY, hatch=hatch, lw=0.6)
        base = base + share


def _looks(count: int) -> list[tuple[str, str]]:
    return [_LOOKS[i % len(_LOOKS)] for i in range(count)]


def _names(axes: Axes, values: FloatArray, shares: FloatArray, names: list[str], smooth: bool) -> None:
    """Each area named inside itself where it is thickest; thin ones are named in the strip below."""
    tops = shares.cumsum(axis=0)
    inner = slice(len(values) // 8, -len(values) // 8 or None) if smooth else slice(None)
    for share, top, name in zip(shares, tops, names, strict=True):
        k = int(np.argmax(share[inner])) + (inner.start or 0)
        if share[k] > 9:
            axes.text(
                values[k], top[k] - share[k] / 2, shortened(name, 14), ha="center", va="center", fontsize=SMALL,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2},
            )  # fmt: skip
    good = 100 - tops[-1]
    k = int(np.argmax(good[inner])) + (inner.start or 0)
    if good[k] > 9:
        axes.text(
            values[k], 100 - good[k] / 2, "all good", ha="center", va="center", fontsize=SMALL,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2},
        )  # fmt: skip


def _ends(strip: Axes, chain: ChainFit, along: int, ends: list[int | None], names: list[str]) -> None:
    factor, raw = chain.series.factors[along], chain.log.raw[:, along]
    lanes = len(names) + 1
    quiet(strip, "left", "top", "right")
    strip.set_ylim(-0.5, lanes - 0.5)
    for i, name in enumerate([*names, "all good"]):
        strip.axhline(i + 0.5, color=PALE, lw=0.5)
        if i < len(names):
            colour, hatch = _LOOKS[i % len(_LOOKS)]
            at = -0.075 / (WIDTH - _LEFT - 0.12) * 1.6
            strip.barh(
                i,
                0.032,
                0.62,
                at,
                facecolor=colour,
                edgecolor=GREY,
                hatch=hatch,
                lw=0.5,
                clip_on=False,
                transform=strip.get_yaxis_transform(),
            )
        strip.text(
            -0.07,
            i,
            shortened(name, 14),
            fontsize=SMALL,
            ha="right",
            va="center",
            transform=strip.get_yaxis_transform(),
        )
    known = [k for k, end in enumerate(ends) if end is not None and np.isfinite(raw[k])]
    lengths = factor.coded(raw[known]) if isinstance(factor, Amount) else raw[known]
    points = np.column_stack([np.round(lengths, 6), [float(ends[k] or 0) for k in known]]).reshape(-1, 2)
    moved = spread_out(points, (0.045 if isinstance(factor, Amount) else 0.06, 0.0))
    places = moved if not isinstance(factor, Amount) else np.column_stack([factor.decoded(moved[:, 0]), moved[:, 1]])
    put_marks(strip, places, [ends[k] == len(names) for k in known], 4.2)
