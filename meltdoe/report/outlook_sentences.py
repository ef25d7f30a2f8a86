"""What to expect of going on, in words: melts and money still needed, what each result would lead to, what is thin.

The figures come from `meltdoe.next_melt`.
"""

from __future__ import annotations

from meltdoe.fit.stages.phrases import capital, level_phrase, listed, melts_phrase, percent
from meltdoe.next_melt.advice import Advice
from meltdoe.next_melt.believed_after import ResultBelief
from meltdoe.next_melt.stopping import SURE
from meltdoe.report.advice_sentences import money, tells
from meltdoe.series.melt_series import MeltSeries

__all__ = ["bound_sentences", "forecast_sentence", "result_sentences", "thin_sentences"]

_MOST_SPOTS = 3


def forecast_sentence(series: MeltSeries, advice: Advice) -> str:
    """Melts and money still needed; empty where the target counts as reached or no forecast was made."""
    found = advice.forecast
    if found is None:
        return ""
    bound = f"{found.horizon} melt{'s' * (found.horizon != 1)}"
    within = f"the {bound} that the budget has left" if found.within_budget else bound
    played = f"{found.played} series played on from here by what is believed now"
    if found.melts is None:
        said = (
            f"In {percent(found.never)} of {played}, {within} are not enough to be {percent(SURE)} sure of the target"
        )
        if found.low is not None:
            said += f"; the quickest tenth take up to {found.low:.0f}"
        kind = "Until it is so sure or the melts are used up"
    else:
        high = f"{found.high:.0f}" if found.high is not None else f"more than {found.horizon}"
        said = (
            f"Melts still needed: about {found.melts:.0f}, between {found.low:.0f} and {high} in 80 % of {played}; "
            f"in {percent(found.never)} of them {within} are not enough to be {percent(SURE)} sure of the target"
        )
        kind = "Until then"
    if series.costs.known:
        said += (
            f". {kind} it would cost about {money(series, found.money)} with likely losses, between "
            f"{money(series, found.money_low)} and {money(series, found.money_high)} in 80 % of them"
        )
    return f"{said}."


def result_sentences(series: MeltSeries, advice: Advice) -> list[str]:
    """What each result of the first proposed melt would lead you to believe, the earliest failure first."""
    return [_result(series, advice, way) for way in advice.results]


def _result(series: MeltSeries, advice: Advice, way: ResultBelief) -> str:
    bad = f"{listed(way.failed)} turn{'s' * (len(way.failed) == 1)} out bad"
    ends = bad if way.failed else "everything is good"
    today, then = percent(advice.best.chance), percent(way.best_chance)
    if way.moves:
        change = f"the best setting moves to {series.show(way.best)}, with a chance of success of {then} (now {today})"
    elif today == then:
        change = f"the best setting stays, and its chance of success remains {then}"
    else:
        goes = "rises" if way.best_chance > advice.best.chance else "falls"
        change = f"the best setting stays, and its chance of success {goes} from {today} to {then}"
    enough = "; that would be enough to stop" if way.reaches >= SURE and advice.verdict.ending != "reached" else ""
    return (
        f"If {ends} (chance {percent(way.chance)}): {change}; it then reaches the target with a chance of "
        f"{percent(way.reaches)}{enough}."
    )


def thin_sentences(series: MeltSeries, advice: Advice) -> list[str]:
    """Where along the factors least is known."""
    said = []
    for spot in advice.thin[:_MOST_SPOTS]:
        factor = series.factor(spot.factor)
        near = (
            f"{spot.melts_near or 'no'} melt{'s' * (spot.melts_near != 1)} {'lies' if spot.melts_near == 1 else 'lie'}"
        )
        said.append(
            f"{spot.factor} at {factor.show(spot.at)}: the chance of success is known to within {100 * spot.width:.0f} "
            f"points there ({level_phrase(advice.level)}, average over the other factors), to within "
            f"{100 * spot.least_width:.0f} at {factor.show(spot.known_best_at)}; {near} near it."
        )
    return said


def bound_sentences(series: MeltSeries, advice: Advice) -> list[str]:
    """What the budget, the kiln, the plan and the ceiling on risk have to do with the proposal."""
    return [*_room(series, advice), *_plan(advice), *_ceiling(advice)]


def _room(series: MeltSeries, advice: Advice) -> list[str]:
    made, holds = len(advice.melts), series.kiln.melts_per_firing
    said = []
    if made < min(advice.wanted, holds):
        if advice.verdict.ending in ("melts spent", "firings spent", "money spent"):
            said.append("The budget has room for none; one melt is shown for who goes on all the same.")
        else:
            said.append(f"The budget has room for {made} more melt{'s' * (made != 1)}, so no more are proposed.")
    if advice.wanted > holds:
        said.append(f"One firing holds {holds}; ask again once these are on record.")
    return said


def _plan(advice: Advice) -> list[str]:
    unmade = advice.unmade
    if unmade is None:
        return []
    verb = "is" if len(unmade.melts) == 1 else "are"
    said = [f"{capital(melts_phrase(unmade.melts))} of the plan {verb} still to be made."]
    if unmade.in_begun_firing:
        inside = melts_phrase(unmade.in_begun_firing)
        said.append(f"By the plan firing {unmade.firing}, which has begun, still has room for {inside}.")
    if advice.unmade_information is not None and advice.melts:
        first, told = melts_phrase(unmade.melts[:1]), advice.unmade_information
        if told >= advice.melts[0].information:
            end = f"make {first} first, which tells no less"
        else:
            end = "finish the plan only where its pattern is wanted whole"
        said.append(
            f"{capital(first)} as planned would tell {tells(told)}, against {tells(advice.melts[0].information)} for "
            f"the first proposal: {end}."
        )
    return [" ".join(said)]


def _ceiling(advice: Advice) -> list[str]:
    ceiling = advice.ceiling
    if ceiling is None:
        return []
    most = f"{100 * ceiling.most_risk:g} %"
    if any(melt.risk > ceiling.most_risk for melt in advice.melts):
        return [f"No setting keeps the chance of a costly failure at or below {most}; the safest were looked at."]
    best = (
        f"the best setting so far does not ({percent(ceiling.best_risk)}), so it could not be proposed"
        if ceiling.best_risk > ceiling.most_risk
        else f"so does the best setting so far ({percent(ceiling.best_risk)})"
    )
    kept = f"{percent(ceiling.kept)} of the settings looked at keep the chance of a costly failure at or below {most}"
    return [f"{kept}; {best}."]
