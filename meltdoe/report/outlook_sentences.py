"""What to expect of going on, in words: melts and money still needed, what each result would lead to, what is thin.

The figures come from `meltdoe.next_melt`.
"""

from __future__ import annotations

from meltdoe.fit.stages.phrases import capital, level_phrase, listed, melts_phrase, percent
from meltdoe.next_melt.advice import Advice
from meltdoe.next_melt.believed_after import ResultBelief
from meltdoe.next_melt.forecast import Forecast
from meltdoe.next_melt.planned import PlannedNext
from meltdoe.next_melt.stopping import SURE
from meltdoe.next_melt.thin_knowledge import ThinSpot
from meltdoe.report.advice_sentences import MOST_MOVES, best_words, bound_words, likely_best_words, money
from meltdoe.series.melt_series import MeltSeries

__all__ = ["bound_sentences", "forecast_sentence", "moving_sentences", "result_sentences", "thin_sentences"]

_MOST_SPOTS = 3
_LONG_CHAIN = 4  # outcomes that have to be good before what was assumed weighs more than a few melts


def forecast_sentence(series: MeltSeries, advice: Advice) -> str:
    """Melts and money still needed; empty where the target counts as reached or no forecast was made."""
    found = advice.forecast
    if found is None:
        return ""
    sure = f"{percent(SURE)} sure of the target"
    never = _of_hundred(found.never)
    within = _within(series, advice, found)
    said = f"Looking ahead ({found.played} series played on from here by what is believed now): "
    if found.melts is None:
        some = f"{never} do not become" if found.never < 0.995 else "hardly any become"
        said += f"{some} {sure} within {within}"
        if found.low is not None:
            said += f"; the quickest tenth need up to {_melts(found.low)}"
        kind = "By then"
    else:
        high = f"{found.high:.0f}" if found.high is not None else f"more than {found.horizon}"
        said += f"about {_melts(found.melts)} more until you can be {sure}, {found.low:.0f} to {high} in 8 of 10; " + (
            f"nearly all get there within {within}" if found.never <= 0.005 else f"{never} do not within {within}"
        )
        kind = "Until then"
    if found.gives_up > 0.05:
        said += f" ({_of_hundred(found.gives_up)} end earlier, when another melt is not worth its cost)"
    if found.never > 0.05:
        said += f"; sure or not, the setting recommended in the end truly reaches it in {_of_hundred(found.works)}"
    if series.costs.known:
        said += (
            f". {kind} it costs about {money(series, found.money)} with likely losses, {found.money_low:.0f} to "
            f"{money(series, found.money_high)} in 8 of 10"
        )
    return f"{said}."


def _succeeded(advice: Advice) -> bool:
    """Whether a melt was good throughout: what is varied can then do it."""
    log = None if advice.outlook is None else advice.outlook.chain.log
    return log is not None and any(log.succeeded(entry) for entry in log.entries)


def _assumed(series: MeltSeries) -> str:
    """That a long chain is held to be rarely good throughout before anything is melted; empty for a short one."""
    counted = sum(outcome.counts for outcome in series.outcomes)
    if counted < _LONG_CHAIN:
        return ""
    return (
        f" Much of that was assumed, not seen: before any melt each of {counted} outcomes is taken to be about as "
        f"likely bad as good, which leaves about {percent(0.5**counted)} for all of them at once. The melts do not "
        "speak against the target so far; what you know already belongs into [[belief]] blocks of series.toml."
    )


def moving_sentences(series: MeltSeries, advice: Advice) -> list[str]:
    """What would have to move where hardly a series played on becomes sure of the target: target, melts, bounds."""
    seen, found = advice.prospect, advice.forecast
    if seen is None or found is None:
        return []
    said, best = [], percent(advice.best.chance)
    out_of_sight, succeeded = seen.sight == "out of sight", _succeeded(advice)
    if advice.likely_best is not None and advice.likely_best < series.target_chance:
        assumed = "" if out_of_sight or succeeded else _assumed(series)
        said.append(f"The target: {likely_best_words(advice.likely_best)}.{assumed}")
    if seen.longer is not None:
        sure = 1.0 - seen.longer.never
        longer = f"with {_melts(seen.longer.horizon)} instead of {found.horizon}, {_of_hundred(sure)} become sure"
        said.append(f"The number of melts: {longer}." if sure > 0.05 else f"More melts alone would not do: {longer}.")
    ends = [f"{bound_words(series, move)} at {percent(move.chance)}" for move in seen.moves[:MOST_MOVES]]
    if ends:
        said.append(
            f"A bound: the best setting, now at {best}, would be {listed(ends)}. That carries the fit beyond what was "
            "melted; move only as far as kiln, crucible and the reason for the limit allow."
        )
    else:
        said.append(
            f"What is varied: no single limit or end of a range would raise the chance at the best setting, {best}, by "
            f"much{'' if not out_of_sight or succeeded else '; think of another material, mould or kiln'}."
        )
    return said


def _of_hundred(share: float) -> str:
    """A share of the series played as a count of a hundred; one or none of them are no reason to say never."""
    if share <= 0.005:
        return "hardly any"
    return "nearly all" if share >= 0.995 else f"{100 * share:.0f} of 100"


def _melts(count: float) -> str:
    return f"{count:.0f} melt{'s' * (round(count) != 1)}"


def _within(series: MeltSeries, advice: Advice, found: Forecast) -> str:
    """The melts looked ahead, with the bound of the budget that allows no more."""
    melts = _melts(found.horizon)
    if not found.within_budget:
        return f"{melts} more, beyond the budget" if advice.spent else f"{melts} more"
    by, left = advice.room.by, advice.left
    if "melts" in by:
        return f"the {melts} that the budget has left"
    if "firings" in by and left.firings is not None:
        each, of = series.kiln.melts_per_firing, f"the budget's last {left.firings} firings"
        of = "the budget's last firing" if left.firings == 1 else of
        return f"the {melts} that {of} {'has' if left.firings == 1 else 'have'} room for ({each} a firing)"
    return f"the {melts} that the money left, {money(series, left.money or 0.0)}, is expected to pay"


def result_sentences(series: MeltSeries, advice: Advice) -> list[str]:
    """What each result of the first proposed melt would lead you to believe, the earliest failure first."""
    return [_result(series, advice, way) for way in advice.results]


def _result(series: MeltSeries, advice: Advice, way: ResultBelief) -> str:
    bad = f"{listed(way.failed)} turn{'s' * (len(way.failed) == 1)} out bad"
    ends = bad if way.failed else "everything is good"
    today, then = percent(advice.best.chance), percent(way.best_chance)
    at = f"still at {then}" if today == then else f"at {then} instead of {today}"
    if way.moves:
        turned = {name: way.best[name] for name in series.factor_names if way.best[name] != advice.best.settings[name]}
        change = f"the best setting moves to {series.show(turned)}, {at}"
    elif today == then:
        change = f"the best setting stays, at {then}"
    else:
        change = f"the best setting stays, {at}"
    enough = "; that would be enough to stop" if way.reaches >= SURE and advice.verdict.ending != "reached" else ""
    return f"If {ends} (chance {percent(way.chance)}): {change}{enough}."


def thin_sentences(series: MeltSeries, advice: Advice) -> list[str]:
    """Where along the factors least is known; nothing before the first melt, when that is everywhere."""
    spots = advice.thin[:_MOST_SPOTS] if advice.made else ()
    if not spots:
        return []
    told = [f"{spot.factor} {series.factor(spot.factor).show(spot.at)} ({_spread(spot)})" for spot in spots]
    return [
        f"Known to within so many points of chance, the other factors averaged over ({level_phrase(advice.level)}): "
        f"{listed(told)}."
    ]


def _spread(spot: ThinSpot) -> str:
    near = "no melt near" if not spot.melts_near else f"{spot.melts_near} melt{'s' * (spot.melts_near != 1)} near"
    return f"{100 * spot.width:.0f}, {near}"


def bound_sentences(series: MeltSeries, advice: Advice) -> list[str]:
    """What the budget, the kiln, the plan and the ceiling on risk have to do with the proposal."""
    return [*_room(series, advice), *_plan(series, advice), *_ceiling(advice)]


def _room(series: MeltSeries, advice: Advice) -> list[str]:
    """Why fewer melts are proposed than were asked for or fit into a firing."""
    made, holds = len(advice.melts), series.kiln.melts_per_firing
    said = []
    if made < min(advice.wanted, holds) and not advice.spent and not advice.follows_plan:
        bound = listed(advice.room.by) or "money"
        said.append(f"The {bound} left in the budget {_allow(advice)} no more than {_melts(made)} now.")
    if advice.wanted > holds and not advice.spent:
        said.append(f"One firing holds {holds}; ask again once these are on record.")
    return said


def _allow(advice: Advice) -> str:
    return "allows" if advice.room.by in ((), ("money",)) else "allow"


def _plan(series: MeltSeries, advice: Advice) -> list[str]:
    """How the plan and the proposal stand to each other."""
    unmade, plan = advice.unmade, advice.planned
    if unmade is None:
        return []
    verb = "is" if len(unmade.melts) == 1 else "are"
    said = [f"{capital(melts_phrase(unmade.melts))} of the plan {verb} still to be made."]
    if unmade.in_begun_firing:
        inside = melts_phrase(unmade.in_begun_firing)
        said.append(
            f"By the plan firing {unmade.firing}, which has begun, still has room for {inside}; record what was made "
            "there first."
        )
    if plan is not None and advice.verdict.word == "go on":
        said.append(_plan_compared(series, advice, plan))
    return [" ".join(said)]


def _plan_compared(series: MeltSeries, advice: Advice, plan: PlannedNext) -> str:
    if plan.followed:
        figure = f"{percent(plan.share)} of it, ± {max(100 * plan.error, 1.0):.0f}"
        if plan.share > 1.05:
            return (
                "The plan's next firing is worth more for the aim than any that was searched, so the plan is followed."
            )
        if plan.tied:
            return (
                "The plan's next firing is worth as much for the aim as the best that was searched, within the error "
                f"of the estimate ({figure}), so the plan is followed."
            )
        return (
            "Alone, the plan's first firing is worth a little less for the aim than the best that was searched "
            f"({figure}); but a plan tells by its whole pattern, so it is followed."
        )
    first = plan.melts[0]
    named = melts_phrase([first.planned or 0])
    figures = f"a chance of full success of {percent(first.chance)}"
    if first.risk > 0.0:
        figures += f" and a chance of a costly failure of {percent(first.risk)}"
    said = f"{capital(named)} as planned ({series.show(first.settings)}) has {figures}"
    if plan.broken:
        return f'{said}, but the plan\'s next firing breaks the limit "{plan.broken[0]}": do not make it as it stands.'
    if plan.too_risky:
        return f"{said}; the plan's next firing goes over the ceiling on that risk, so it is not proposed."
    return (
        f"{said}; for the aim the plan's next firing is worth about {percent(plan.share)} of the one proposed. Finish "
        "the plan only where its pattern is wanted whole."
    )


def _ceiling(advice: Advice) -> list[str]:
    ceiling = advice.ceiling
    if ceiling is None:
        return []
    most = f"{100 * ceiling.most_risk:g} %"
    if any(melt.risk > ceiling.most_risk for melt in advice.melts):
        least = percent(min(melt.risk for melt in advice.melts))
        return [
            f"No setting keeps the chance of a costly failure at or below {most}; one of the safest is proposed, with "
            f"{least}."
        ]
    named = best_words(advice)
    best = (
        f"the {named} does not ({percent(ceiling.best_risk)}), so it could not be proposed"
        if ceiling.best_risk > ceiling.most_risk
        else f"so does the {named} ({percent(ceiling.best_risk)})"
    )
    kept = f"{percent(ceiling.kept)} of the settings looked at keep the chance of a costly failure at or below {most}"
    return [f"{kept}; {best}."]
