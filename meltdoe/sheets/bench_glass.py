"""What a sheet says of the glass of one melt: its weights, how it should pour, how its casting cools."""

from __future__ import annotations

from dataclasses import dataclass

from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.melt_glass import MeltGlass, melt_glass
from meltdoe.charge.shelf import Shelf
from meltdoe.charge.weights import MeltWeights, melt_weights
from meltdoe.glass.named_viscosities import POUR_GOOD, POUR_HOPELESS
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series.melt_series import MeltSeries
from meltdoe.sheets.kiln_schedule import temperature_unit
from meltdoe.units import convert, convert_difference

__all__ = ["POUR_WORDS", "BenchGlass", "bench_glass", "casting_sentences", "pour_sentences"]

POUR_WORDS = {"good": "pours well", "marginal": "pours slowly", "poor": "hardly pours", "hopeless": "does not pour"}
"""`pour_verdict` as a verb."""


@dataclass(frozen=True, slots=True, eq=False)
class BenchGlass:
    """The glass of one melt as its sheet tells it.

    Parameters
    ----------
    weights : what to weigh, or None where it cannot be worked out.
    sentences : what is expected of it, with standard deviations.
    warnings : what the maker must know before weighing; also why something could not be worked out.
    caveats : what the figures leave out or rest on.
    cooling : the annealing of its casting, how and how long for each step; empty where there is none.
    cooling_doubt : by how much the soak may be out, in the unit of the maker.
    """

    glass: MeltGlass
    weights: MeltWeights | None
    sentences: tuple[str, ...]
    warnings: tuple[str, ...]
    caveats: tuple[str, ...] = ()
    cooling: tuple[tuple[str, str], ...] = ()
    cooling_doubt: str = ""

    @property
    def charging(self) -> str:
        """In how many portions it goes into the crucible; empty where the crucible is not known."""
        portions = self.weights.portions if self.weights is not None else None
        if not portions:
            return ""
        return (
            "Charge in 1 portion."
            if portions == 1
            else f"Charge in {portions} portions, each when the one before is flat."
        )

    @property
    def told(self) -> str:
        """What comes of the charge and how it should pour; empty where it cannot be worked out."""
        if self.weights is None:
            return ""
        made = (
            f"Together {self.weights.charge}; {self.weights.glass:.0f} g of glass come of it, "
            f"{self.weights.loss:.1f} % leave as gas, {self.weights.gas_litres:.0f} litres when hot."
        )
        return " ".join((made, *self.sentences))


def bench_glass(series: MeltSeries, melt: PlannedMelt, on_shelf: Shelf) -> BenchGlass:
    """The glass of one planned melt; what cannot be worked out becomes a warning and raises nothing."""
    glass = melt_glass(series, EarlierMelt(melt.melt, melt.settings), on_shelf)
    try:
        weights = melt_weights(series, series.raw(melt.settings), on_shelf)
    except ValueError as fault:
        return BenchGlass(glass, None, (), (f"the weights cannot be worked out: {fault}",))
    of_cooling = glass.cooling.schedule.warnings if glass.cooling is not None else ()  # said on the firing's page
    caveats = tuple(text for text in glass.warnings if text not in (*weights.warnings, *of_cooling))
    return BenchGlass(
        glass, weights, tuple(pour_sentences(series, glass)), weights.warnings, caveats, *_cooling(series, glass)
    )


def pour_sentences(series: MeltSeries, glass: MeltGlass) -> list[str]:
    """How a melt should pour, temperatures in the unit of the maker, with standard deviations."""
    unit = temperature_unit(series)
    said = []
    if glass.celsius is not None and glass.log10 is not None and glass.log10_sd is not None:
        said.append(
            f"At {_degrees(glass.celsius, unit)} it {POUR_WORDS[glass.verdict]}: 10^{glass.log10:.1f} Pa s, "
            f"give or take a factor of {10**glass.log10_sd:.1f} "
            f"(10^{POUR_GOOD:g} pours well, 10^{POUR_HOPELESS:g} stays put)."
        )
    if glass.good_from is not None and glass.good_sd is not None and glass.hopeless_below is not None:
        spread = convert_difference(glass.good_sd, "K", unit)
        said.append(
            f"Pours well from about {_degrees(glass.good_from, unit)} (give or take {spread:.0f} {unit}), "
            f"not at all below {_degrees(glass.hopeless_below, unit)}."
        )
    return said


def casting_sentences(glass: MeltGlass) -> list[str]:
    """What the cold glass is like, and how a bed of insulation would cool it."""
    said = []
    if glass.alpha is not None and glass.alpha_sd is not None:
        said.append(
            f"Expansion {glass.alpha:.0f} (give or take {glass.alpha_sd:.0f}) × 10⁻⁷ per K, density "
            f"{glass.density:.2f} g/cm3."
        )
    if glass.cooling is not None and glass.cooling.bed is not None:
        said.append(f"In place of the kiln: {glass.cooling.bed.sentence}.")
    return said


def _cooling(series: MeltSeries, glass: MeltGlass) -> tuple[tuple[tuple[str, str], ...], str]:
    if glass.cooling is None:
        return (), ""
    unit = temperature_unit(series)
    soak, *falls = glass.cooling.schedule.steps
    spread = convert_difference(glass.cooling.schedule.annealing_sd, "K", unit)
    steps = [
        (f"{convert_difference(step.rate, 'K', unit):.3g} {unit}/h to {_degrees(step.end, unit)}", step.hours)
        for step in falls
    ]
    told = [(f"soak at {_degrees(soak.start, unit)}", soak.hours), *steps]
    return tuple((how, f"{hours:.1f} h") for how, hours in told), f"{spread:.0f} {unit}"


def _degrees(celsius: float, unit: str) -> str:
    return f"{convert(celsius, '°C', unit):.0f} {unit}"
