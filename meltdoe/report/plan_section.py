"""What the report says of the plan: its assessment, its tables, and the choice between plans."""

from __future__ import annotations

from dataclasses import dataclass

from meltdoe.fit.stages.phrases import listed, percent
from meltdoe.plans.comparison import PlanComparison
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.merits.assessment import Assessment, assess
from meltdoe.report.plans_compared import choice_sentences, options_table
from meltdoe.report.tables import Table, mixed_table, plan_table, precision_table

__all__ = ["Planned", "planned_of"]


@dataclass(frozen=True, slots=True)
class Planned:
    """How the series was planned; tables are None where the plan has nothing to put in them.

    Attributes
    ----------
    options, choice : the plans that could have been taken, and why this one; None and empty where not compared.
    drop_outs : what one lost melt or firing would take away.
    """

    plan: Plan
    assessment: Assessment
    melts: Table
    precision: Table | None
    mixed: Table | None
    options: Table | None
    choice: tuple[str, ...]
    drop_outs: tuple[str, ...]


def planned_of(plan: Plan, compared: PlanComparison | None) -> Planned:
    """Judge a plan, and gather what is said of it."""
    judged = assess(plan)
    drop_outs = []
    for what, loss in (("melt", judged.drop_melt), ("firing", judged.drop_firing)):
        if loss.worst:
            lost = f", and {listed(loss.lost)} could no longer be estimated" if loss.lost else ""
            drop_outs.append(
                f"Without one {what} the plan keeps {percent(loss.kept_average)} of its precision on average, "
                f"{percent(loss.kept_worst)} without {what} {loss.worst}{lost}."
            )
    return Planned(
        plan=plan,
        assessment=judged,
        melts=plan_table(plan),
        precision=precision_table(judged),
        mixed=mixed_table(judged),
        options=None if compared is None else options_table(compared, plan),
        choice=() if compared is None else choice_sentences(compared, plan),
        drop_outs=tuple(drop_outs),
    )
