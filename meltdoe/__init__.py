"""meltdoe: plan, record and learn from a short series of test melts and castings.

The rooms, in the order in which a series walks through them::

    series     the question: factors, outcomes, limits, beliefs, coding
    glass      known before the first melt: viscosity, batch, cooling, cautions
    costs      what it takes
    charge     what goes into each crucible: shares, glass, weights, shopping, cooling
    plans      the plan: fractions, screening, optimal patterns, firings
    sheets     at the bench
    log        what happened
    fit        what it means: Firth, posterior, the stage chain
    next_melt  what next, or stop
    rehearsal  the whole series played before buying
    files      every format on disk
    report     sentences, figures, the write-up
    cli        the terminal
    steps      the verbs below: the only place where files and numbers meet

Public names are loaded when first asked for, so that importing the package costs next to nothing.
"""

from __future__ import annotations

import sys
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meltdoe.errors import Inestimable, MeltdoeError, Problem, ProblemsFound
    from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
    from meltdoe.log.melt_log import Entry, Log
    from meltdoe.next_melt.advice import Advice, next_melts
    from meltdoe.plans.comparison import PlanComparison
    from meltdoe.plans.draw_up import make_plan
    from meltdoe.plans.melt_plan import Plan, PlannedMelt
    from meltdoe.plans.merits.assessment import Assessment, assess
    from meltdoe.rehearsal.simulated_series import Rehearsal, rehearse
    from meltdoe.series.melt_series import MeltSeries
    from meltdoe.steps import compare_plans, read_log, read_plan, read_series, write_report, write_sheets

__version__ = "1.0.0"

_HOMES = {
    "Advice": "next_melt.advice",
    "Assessment": "plans.merits.assessment",
    "ChainFit": "fit.stages.stage_chain",
    "Entry": "log.melt_log",
    "Inestimable": "errors",
    "Log": "log.melt_log",
    "MeltSeries": "series.melt_series",
    "MeltdoeError": "errors",
    "Plan": "plans.melt_plan",
    "PlanComparison": "plans.comparison",
    "PlannedMelt": "plans.melt_plan",
    "Problem": "errors",
    "ProblemsFound": "errors",
    "Rehearsal": "rehearsal.simulated_series",
    "assess": "plans.merits.assessment",
    "compare_plans": "steps",
    "fit_chain": "fit.stages.stage_chain",
    "make_plan": "plans.draw_up",
    "next_melts": "next_melt.advice",
    "read_log": "steps",
    "read_plan": "steps",
    "read_series": "steps",
    "rehearse": "rehearsal.simulated_series",
    "write_report": "steps",
    "write_sheets": "steps",
}

__all__ = [
    "Advice",
    "Assessment",
    "ChainFit",
    "Entry",
    "Inestimable",
    "Log",
    "MeltSeries",
    "MeltdoeError",
    "Plan",
    "PlanComparison",
    "PlannedMelt",
    "Problem",
    "ProblemsFound",
    "Rehearsal",
    "assess",
    "compare_plans",
    "fit_chain",
    "make_plan",
    "next_melts",
    "read_log",
    "read_plan",
    "read_series",
    "rehearse",
    "write_report",
    "write_sheets",
]


if "IPython" in sys.modules:  # a notebook: plans, fits and advice are shown there as tables and sentences
    import_module("meltdoe.report.notebook").register_if_running()


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'meltdoe' has no attribute '{name}'")
    return getattr(import_module(f"meltdoe.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
