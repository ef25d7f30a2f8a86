"""An invented series for the tests of planning: obsidian with flux, two settings of the kiln, a limit and a budget."""

from meltdoe.series import Amount, Belief, Budget, Choice, Costs, GoodRange, Kiln, Limit, MeltSeries, Outcome
from meltdoe.series.limit_parser import parse_comparison


def limit(text, why=""):
    return Limit(text, why, parse_comparison(text))


FLUX = Amount("flux", 15, 40, unit="wt%", step=1)
PEAK = Amount("peak", 1000, 1250, unit="°C", step=10, set_per="firing")
HOLD = Amount("hold", 15, 240, unit="min", step=5, scale="log", set_per="firing")
PACKING = Choice("packing", ("loose", "pressed"))
COOLING = Amount("cooling", 10, 60, unit="K/h", step=5)
BOILS_OVER = limit("flux + 0.1 * peak <= 160", "the charge boils over")


def series(**changes):
    """The whole series; keyword arguments replace its parts."""
    parts = {
        "title": "Invented: castings of crushed obsidian",
        "factors": (FLUX, PEAK, HOLD, PACKING, COOLING),
        "outcomes": (
            Outcome("contained", "pass"),
            Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(95)),
            Outcome("cracks", "grade", grades=("none", "hairline", "open"), after="fill", good=("none", "hairline")),
        ),
        "budget": Budget(melts=14, firings=6, money=400.0, currency="EUR"),
        "kiln": Kiln(melts_per_firing=3),
        "limits": (BOILS_OVER,),
        "costs": Costs(melt=12.0, firing=9.5, loss={"contained": 45.0}),
        "beliefs": (Belief({"flux": 20, "peak": 1100}, "contained", 0.6),),
    }
    return MeltSeries(**{**parts, **changes})


def plain(count, per_firing=0, **changes):
    """`count` amounts without limits, budget or prices, the first `per_firing` of them set per firing."""
    factors = tuple(
        Amount(f"x{i + 1}", 0, 10, step=1, set_per="firing" if i < per_firing else "melt") for i in range(count)
    )
    bare = {"factors": factors, "limits": (), "budget": Budget(), "costs": Costs(), "beliefs": (), "kiln": Kiln(1)}
    return series(**{**bare, **changes})
