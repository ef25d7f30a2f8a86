"""A small invented series whose every setting can be listed, and logs of it."""

from itertools import product

import numpy as np

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, Costs, Kiln, Limit, MeltSeries, Outcome
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.series.outcome import Unseen

KEEP = "flux + 0.1 * peak <= 150"
DRAWS = 400  # as many as the advice itself looks at, so that hand-made figures use the same ones
SPILLED, STIFF, CRACKED, SOUND = (False,), (True, False), (True, True, False), (True, True, True)


def small_series(**changes):
    """Two factors, 42 settings of which a limit takes some away, and a chain of three."""
    given = {
        "title": "invented",
        "factors": (
            Amount("flux", 15, 40, unit="wt%", step=5),
            Amount("peak", 1100, 1250, unit="°C", step=25, set_per="firing"),
        ),
        "outcomes": (
            Outcome("contained", "pass"),
            Outcome("poured", "pass", after="contained"),
            Outcome("sound", "pass", after="poured"),
        ),
        "kiln": Kiln(melts_per_firing=2),
        "limits": (Limit(KEEP, "it leaks", parse_comparison(KEEP)),),
        "costs": Costs(melt=12.0, firing=9.0, loss={"contained": 45.0}),
        "seed": 3,
    }
    return MeltSeries(**{**given, **changes})


def melted(series, *rows):
    """A log of (flux, peak, outcomes as far as the melt got), two melts a firing."""
    names = [outcome.name for outcome in series.outcomes]
    entries = []
    for i, (flux, peak, got) in enumerate(rows):
        seen = dict.fromkeys(names, Unseen.NOT_REACHED) | dict(zip(names, got, strict=False))
        entries.append(Entry(i + 1, i // 2 + 1, {"flux": float(flux), "peak": float(peak)}, seen))
    return Log(series, tuple(entries))


LOGS = {
    "no melts": (),
    "only failures": ((15, 1250, SPILLED), (20, 1250, SPILLED), (25, 1200, SPILLED), (15, 1200, SPILLED)),
    "mixed": ((20, 1150, STIFF), (30, 1150, CRACKED), (25, 1225, SOUND), (20, 1225, SPILLED), (40, 1100, STIFF)),
    "hot ones spill": (
        *((flux, peak, SPILLED) for flux in (15, 20, 25) for peak in (1225, 1250)),
        *((flux, 1100, SOUND if flux > 20 else STIFF) for flux in (15, 20, 25, 30, 35, 40)),
    ),
    "all good": tuple((25 + 5 * (i % 2), 1150, SOUND) for i in range(4)),
}


def chain_of(series, rows, draws=DRAWS):
    return fit_chain(series, melted(series, *rows), n_draws=draws)


def everything(series):
    """All settings on their steps that keep the limit."""
    flux, peak = (factor.grid() for factor in series.factors)
    raw = np.array(list(product(flux, peak)))
    return raw[raw[:, 0] + 0.1 * raw[:, 1] <= 150 + 1e-9]
