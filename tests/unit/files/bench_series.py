"""An invented series for the tests of the store: three factors, a chain of three outcomes, one circumstance."""

from dataclasses import replace

from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series import (
    Amount,
    Choice,
    Circumstance,
    GoodRange,
    Kiln,
    Limit,
    MeltSeries,
    Outcome,
)
from meltdoe.series.limit_parser import parse_comparison

FLUX = Amount("flux", 15, 40, label="Flux share of the charge", unit="wt%", step=1)
PEAK = Amount("peak", 1100, 1250, label="Peak temperature", unit="°C", set_per="firing")
SAND = Choice("sand", ("coarse", "fine", "-325 mesh"), label="Sand")
CONTAINED = Outcome("contained", "pass", question="Did the charge stay in the crucible?")
FILL = Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=95))
CRACKS = Outcome(
    "cracks", "grade", grades=("none", "hairline", "open", "shattered"), after="fill", good=("none", "hairline")
)
KEEP = "flux + 0.1 * peak <= 160"


def bench_series(folder=None, **changes):
    series = MeltSeries(
        title="Invented series",
        factors=(FLUX, PEAK, SAND),
        outcomes=(CONTAINED, FILL, CRACKS),
        kiln=Kiln(melts_per_firing=2),
        limits=(Limit(KEEP, "it boils over", parse_comparison(KEEP)),),
        circumstances=(Circumstance("humidity", unit="%"), Circumstance("pot")),
        folder=folder,
    )
    return replace(series, **changes)


def settings(flux=20.0, peak=1200.0, sand="fine"):
    return {"flux": float(flux), "peak": float(peak), "sand": sand}


def bench_plan(series, melts=4, first=1, firing=1, flux=20.0):
    """Two melts a firing; the firings' peaks climb by 10 °C."""
    rows = tuple(
        PlannedMelt(first + i, firing + i // 2, i + 1, settings(flux + i, 1200 + 10 * (i // 2)), "fraction")
        for i in range(melts)
    )
    return Plan(series, rows, "fraction", reason="a first look", seed=7)


GOOD = {"contained": "yes", "fill": "97.5", "cracks": "none"}
SPILLED = {"contained": "no"}


def snapshot(folder):
    """Every file of a folder but the lock, with its bytes."""
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.name != ".lock"}
