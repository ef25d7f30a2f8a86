"""How the glass of a series flows with temperature: the stiffest and the most fluid recipe, and where melts pour."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from matplotlib.axes import Axes

from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.glass_at import GlassAt, glass_of_melts
from meltdoe.charge.shelf import Shelf
from meltdoe.glass.named_viscosities import POUR_GOOD, POUR_HOPELESS, POUR_MARGINAL
from meltdoe.report.figures.style import (
    BLACK,
    BLUE,
    GREY,
    MICRO,
    PALE,
    SMALL,
    VERMILION,
    WIDTH,
    Picture,
    drawing,
    in_inches,
    key_line,
    new_figure,
)
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import convert

__all__ = ["viscosity_picture"]

_LEFT, _RIGHT, _BOTTOM, _TALL, _TOP = 0.62, 0.2, 0.72, 2.7, 0.12  # inches
_LEAST, _MOST = 1.0, 6.0  # log10 Pa s that are drawn
_BANDS = (
    (_LEAST, POUR_GOOD, "pours well", "white"),
    (POUR_GOOD, POUR_MARGINAL, "pours slowly", "#F4F4F4"),
    (POUR_MARGINAL, POUR_HOPELESS, "hardly pours", "#E9E9E9"),
    (POUR_HOPELESS, _MOST, "stays in the crucible", PALE),
)


def viscosity_picture(
    series: MeltSeries, melts: Sequence[EarlierMelt], made: Collection[int], on_shelf: Shelf, unit: str
) -> Picture | None:
    """Viscosity against temperature with the range in which melts pour; None where no model covers the glass.

    Parameters
    ----------
    melts : on record and planned.
    made : numbers of those on record.
    unit : of temperature, in which this maker reads the kiln.
    """
    if not melts:
        return None
    try:
        glass = glass_of_melts(series, melts, on_shelf)
        ends = _ends(glass)
        low, high = _temperatures(glass)
        celsius = np.linspace(low, high, 121)
        curves = [(row, *_curve(glass, row, celsius)) for row in ends]
        poured = None if glass.celsius is None else np.atleast_1d(np.asarray(glass.viscosity().log10))
    except ValueError:
        return None  # the sheets and the table of glasses say why
    with drawing():
        figure = new_figure(_TOP + _TALL + _BOTTOM)
        axes = in_inches(figure, _LEFT, _BOTTOM, WIDTH - _LEFT - _RIGHT, _TALL)
        shown = np.array([convert(float(value), "°C", unit) for value in celsius])
        _bands(axes, shown, [log10 for _, log10, _ in curves])
        for (row, log10, sd), style, colour in zip(curves, ("-", "--"), (BLUE, VERMILION), strict=False):
            axes.fill_between(shown, log10 - sd, log10 + sd, color=colour, alpha=0.18, lw=0)
            axes.plot(shown, log10, style, color=colour)
            inside = np.flatnonzero((log10 > _LEAST) & (log10 < _MOST - 0.5))
            at = int(inside[len(inside) // 3]) if inside.size else len(shown) // 2
            axes.annotate(
                _flux(series, glass.flux[row]),
                (shown[at], log10[at]),
                (4, 6),
                textcoords="offset points",
                fontsize=SMALL,
            )
        if poured is not None and glass.celsius is not None:
            _melts(axes, [melt.melt in made for melt in melts], glass.celsius, poured, unit)
        axes.set_xlim(shown[0], shown[-1])
        axes.set_ylim(_LEAST, _MOST)
        axes.set_xlabel(f"Temperature ({unit})")
        axes.set_ylabel("Viscosity (log10 Pa s)")
        key_line(
            figure,
            [
                ({"marker": "o", "ms": 4.5, "mec": "white", "mfc": BLACK}, "made"),
                ({"marker": "o", "ms": 4.5, "mec": BLACK, "mfc": "white"}, "planned"),
                (None, "band: one sd of the model"),
            ],
        )
    return Picture(
        name="viscosity",
        figure=figure,
        title="How the glass flows",
        alt=_alt(series, glass, ends, melts, unit),
        caption=f"Viscosity that the composition lets expect, for the stiffest and the softest of {len(melts)} melts; "
        "the band is one standard deviation of the model. Dots are melts at the temperature of their pour. Limits of "
        "pouring are those of container glass at usual ladling temperatures.",
    )


def _ends(glass: GlassAt) -> list[int]:
    """The rows with the stiffest and the most fluid glass; one where they are the same."""
    warm = np.atleast_1d(np.asarray(glass.viscosity(1150.0).log10))
    return list(dict.fromkeys([int(np.argmax(warm)), int(np.argmin(warm))]))


def _temperatures(glass: GlassAt) -> tuple[float, float]:
    """°C from stiff to fluid, wide enough for every pour."""
    poured = [] if glass.celsius is None else list(glass.celsius)
    return float(min([900.0, *[value - 50.0 for value in poured]])), float(
        max([1300.0, *[value + 50.0 for value in poured]])
    )


def _curve(glass: GlassAt, row: int, celsius: FloatArray) -> tuple[FloatArray, FloatArray]:
    from meltdoe.glass.viscosity_models import viscosity

    found = viscosity(glass.one(row), celsius, known_analysis=glass.known_analysis)
    return np.asarray(found.log10), np.asarray(found.sd)


def _bands(axes: Axes, shown: FloatArray, curves: Sequence[FloatArray]) -> None:
    for low, high, words, colour in _BANDS:
        axes.axhspan(low, high, color=colour, lw=0, zorder=0)
        middle = (low + high) / 2
        left, right = (min(abs(log10[end] - middle) for log10 in curves) for end in (0, -1))
        at, side, said = (shown[0], "left", f" {words}") if left > right else (shown[-1], "right", f"{words} ")
        axes.text(at, high - 0.06, said, fontsize=MICRO, color=GREY, ha=side, va="top")


def _melts(axes: Axes, made: Sequence[bool], celsius: FloatArray, log10: FloatArray, unit: str) -> None:
    for done, at, value in zip(made, celsius, log10, strict=True):
        if _LEAST <= value <= _MOST:
            face, edge = (BLACK, "white") if done else ("white", BLACK)
            axes.plot(convert(float(at), "°C", unit), value, "o", ms=4.5, mfc=face, mec=edge, mew=0.8, zorder=5)


def _flux(series: MeltSeries, share: float) -> str:
    """On the basis of the recipe."""
    of_all = series.recipe is not None and series.recipe.shares_of == "total"
    return f"flux {share:.3g} {'%' if of_all else 'to 100 of rock'}"


def _alt(series: MeltSeries, glass: GlassAt, ends: Sequence[int], melts: Sequence[EarlierMelt], unit: str) -> str:
    good = np.atleast_1d(np.asarray(glass.pouring().good_from))
    said = [
        f"melt {melts[row].melt} with {_flux(series, glass.flux[row])} pours well from about "
        f"{convert(float(good[row]), '°C', unit):.0f} {unit}"
        for row in ends
    ]
    return f"Curves of viscosity against temperature: {'; '.join(said)}."
