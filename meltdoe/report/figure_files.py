"""Every figure that the melts so far can fill, and the files it goes into."""

from __future__ import annotations

from meltdoe.errors import Inestimable
from meltdoe.fit.checks.past_fits import PastFits
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.advice import Advice
from meltdoe.plans.comparison import PlanComparison
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.merits.assessment import assess
from meltdoe.report.figures.alias_figures import alias_picture
from meltdoe.report.figures.chance_curves import chance_curves
from meltdoe.report.figures.chance_grid import chance_grid
from meltdoe.report.figures.chance_map import chance_map
from meltdoe.report.figures.effect_figures import effect_picture
from meltdoe.report.figures.half_normal_figures import half_normal_picture
from meltdoe.report.figures.held import ranked_factors
from meltdoe.report.figures.log_figures import log_pictures
from meltdoe.report.figures.next_figures import information_picture
from meltdoe.report.figures.options_figures import options_picture
from meltdoe.report.figures.page_svg import standalone_svg
from meltdoe.report.figures.plan_figures import plan_picture
from meltdoe.report.figures.precision_figures import power_picture, precision_picture
from meltdoe.report.figures.progress_figures import progress_picture
from meltdoe.report.figures.seen_figures import measured_picture, predicted_picture
from meltdoe.report.figures.stage_figures import stage_picture
from meltdoe.report.figures.style import Picture, png_bytes
from meltdoe.report.glass_pictures import glass_pictures
from meltdoe.report.plans_compared import own_option
from meltdoe.series.factor import Amount

__all__ = ["figure_files", "pictures_of"]


def figure_files(chain: ChainFit, plan: Plan | None, *, pixels: bool = False) -> dict[str, bytes | str]:
    """Every figure as SVG: relative path to content.

    Parameters
    ----------
    plan : the plan of the series, or None where none was drawn up.
    pixels : also as PNG of 300 dots per inch.
    """
    try:
        best = chain.best() if chain.log.entries else None
    except Inestimable:
        best = None  # no setting keeps every limit, so there is nothing to draw around
    files: dict[str, bytes | str] = {}
    for picture in pictures_of(chain, plan, best):
        files[f"figures/{picture.name}.svg"] = standalone_svg(picture)
        if pixels:
            files[f"figures/{picture.name}.png"] = png_bytes(picture.figure)
    return files


def pictures_of(
    chain: ChainFit,
    plan: Plan | None,
    best: BestSetting | None,
    advice: Advice | None = None,
    compared: PlanComparison | None = None,
    past: PastFits | None = None,
) -> tuple[Picture, ...]:
    """Every figure that the melts so far can fill, in the order of the report.

    Parameters
    ----------
    best : the best setting of the chain, or None where there is none; figures of the whole chain stand around it.
    advice : what to do next, for the figure of what one more melt would tell; None leaves it out.
    compared : the plans that could have been bought; None leaves their figure out.
    past : fits of the past where they are shared with others who ask.
    """
    found: list[Picture | None] = []
    if compared is not None:
        found.append(options_picture(compared, "" if plan is None else own_option(plan)))
    if plan is not None and plan.melts:
        judged = assess(plan)
        found += [plan_picture(plan, chain.log), alias_picture(plan), power_picture(judged), precision_picture(judged)]
    found += log_pictures(chain.log)
    found += glass_pictures(chain.log, plan)
    for position, stage in enumerate(chain.stages):
        found += [
            effect_picture(stage, position),
            half_normal_picture(stage, plan, position),
            measured_picture(stage, position),
        ]
    if best is not None and chain.log.entries and any(outcome.counts for outcome in chain.series.outcomes):
        ranked = ranked_factors(chain, best)
        found += [_chance_picture(chain, best, ranked), stage_picture(chain, best, ranked[0])]
        found.append(progress_picture(PastFits(chain) if past is None else past, best))
    found.append(predicted_picture(chain))
    if advice is not None:
        found.append(information_picture(chain, advice))
    return tuple(picture for picture in found if picture is not None)


def _chance_picture(chain: ChainFit, best: BestSetting, ranked: tuple[int, ...]) -> Picture:
    """The form that fits the kinds of the two factors that matter most."""
    pair = ranked[:2]
    amounts = [place for place in pair if isinstance(chain.series.factors[place], Amount)]
    listed = [place for place in pair if place not in amounts]
    if len(amounts) == 2:
        return chance_map(chain, best, amounts[0], amounts[1])
    if amounts:
        return chance_curves(chain, best, amounts[0], listed[0] if listed else None)
    return chance_grid(chain, best, listed[0], listed[1] if len(listed) > 1 else None)
