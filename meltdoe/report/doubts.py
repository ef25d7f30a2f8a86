"""Questions of a sceptical reader, answered from the data.

Order, left-out failures, firings and days, single melts, other models, and what would change the conclusion.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from meltdoe.fit.checks.past_fits import firings_in_order
from meltdoe.fit.learning import Learning
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import capital, listed, melts_phrase, percent
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Log
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.belief_sentences import belief_sentences, chemistry_conclusion
from meltdoe.report.failures import first_failure
from meltdoe.report.further_melts import further_sentences
from meltdoe.report.learning_sentences import Passage, drift_sentences, influence_sentences
from meltdoe.report.sentences import MATTERS
from meltdoe.report.tables import times
from meltdoe.series.factor import Choice, FloatArray
from meltdoe.series.terms import Term, cross_terms, main_terms, square_terms

__all__ = ["doubt_passages"]

_ALONG = 0.7  # correlation from which a factor cannot be told from the order (our choice)
_CLEARLY = 0.05  # gain in chance from which another setting counts as another recommendation, as in `fit.influence`
_FAR_APART = 0.15  # of two chances for one setting, from which they are called different answers (our choice)
_FACTORS_CROSSED = 6  # more factors have too many products for a second model
_NEAREST = 3


def doubt_passages(chain: ChainFit, plan: Plan | None, best: BestSetting, found: Learning) -> tuple[Passage, ...]:
    """One passage a question; every question is answered, if only by why it cannot be.

    Parameters
    ----------
    plan : None where none was drawn up. found : what was learnt beside the fit; without refits, answers are shorter.
    """
    refits = found.past is not None
    return (
        Passage("Was the order random?", tuple(_order(chain.log, plan))),
        Passage("Were failures left out?", tuple(_left_out(chain.log, plan))),
        Passage("Could the firing or the day explain it?", tuple(_firings(chain, found))),
        Passage("How much rests on one melt?", _single(chain, found)),
        Passage("Would another model say otherwise?", tuple(_other_models(chain, best, found, refits))),
        Passage("What would change the conclusion?", tuple(_changes(chain, best, found, refits))),
    )


def _order(log: Log, plan: Plan | None) -> list[str]:
    if plan is None:
        said = ["No: there was no plan, and each melt was chosen in the light of those before it."]
    elif not plan.reason:
        said = ["The plan was written by hand, and nothing says how its order was chosen."]
    elif not plan.by_lot:
        said = ["No: each firing was chosen in the light of those before it."]
    else:
        said = [f"The order of the plan was drawn by lot (seed {plan.seed})."]
        moved = _out_of_order(log, plan)
        drawn = {melt.melt for melt in plan.by_lot}
        made = len(log.melt_numbers & drawn)
        before = len([melt for melt in log.melt_numbers if melt < min(drawn)])
        beyond = len(log.melt_numbers) - made - before
        said.append(
            f"The {made} planned melts made so far "
            + (f"did not keep to it: {melts_phrase(moved)} came before their turn." if moved else "followed it.")
        )
        if before:
            said.append(f"{before} melt{'s were' * (before > 1) or ' was'} made before there was a plan.")
        if beyond:
            said.append(f"{beyond} further melt{'s were' * (beyond > 1) or ' was'} chosen later, not drawn by lot.")
    most = max(_along_order(log), default=None)
    if most is None:
        said.append("Too few firings to say whether a setting went along with the order.")
    else:
        strength, name = most
        said.append(
            f"The setting that went along with the order most is {name}: correlation {strength:.2f}, where 0 is none "
            "and 1 is full."
            + (" What else changed over the series could pass for its effect." if strength >= _ALONG else "")
        )
    return said


def _out_of_order(log: Log, plan: Plan) -> list[int]:
    """Melts made before one that the plan has earlier, by firing."""
    place = {firing: i for i, firing in enumerate(firings_in_order(log.entries))}
    planned = {melt.melt: melt for melt in plan.by_lot}
    first: dict[int, int] = {}
    for melt in plan.by_lot:
        first[melt.firing] = min(first.get(melt.firing, melt.order), melt.order)
    made = [(first[planned[e.melt].firing], place[e.firing], e.melt) for e in log.entries if e.melt in planned]
    return sorted({melt for turn, at, melt in made if any(t < turn and p > at for t, p, _ in made)})


def _along_order(log: Log) -> Iterable[tuple[float, str]]:
    """Correlation (multiple, for choices) of each factor with the order of the firings, as a size."""
    place = {firing: float(i) for i, firing in enumerate(firings_in_order(log.entries))}
    if len(place) < 4:
        return
    order = np.array([place[entry.firing] for entry in log.entries])
    raw = log.raw
    for i, factor in enumerate(log.series.factors):
        known = np.isfinite(raw[:, i])
        values, at = raw[known, i], order[known]
        if len(np.unique(values)) < 2 or len(np.unique(at)) < 4:
            continue
        columns = log.series.coding.factor_columns(factor.name, raw[known])
        if isinstance(factor, Choice):
            fitted = np.column_stack([np.ones(len(at)), columns])
            rest = at - fitted @ np.linalg.lstsq(fitted, at, rcond=None)[0]
            yield float(np.sqrt(max(0.0, 1 - rest @ rest / ((at - at.mean()) ** 2).sum()))), factor.name
        else:
            yield abs(float(np.corrcoef(columns[:, 0], at)[0, 1])), factor.name


def _left_out(log: Log, plan: Plan | None) -> list[str]:
    failed = sorted({entry.melt for entry in log.entries if first_failure(log, entry) is not None})
    n = len(log.melt_numbers)
    said = [
        f"Of {n} melt{'s' * (n != 1)} on record {len(failed)} failed somewhere"
        + (f" ({melts_phrase(failed)})" if failed else "")
        + "; all of them stand in the table of every melt and in the analysis."
    ]
    gaps = sorted(set(range(1, max(log.melt_numbers) + 1)) - log.melt_numbers)
    unmade = {melt.melt for melt in plan.melts} - log.melt_numbers if plan is not None else set()
    strange = [melt for melt in gaps if melt not in unmade]
    if unmade:
        said.append(f"Planned but not made: {melts_phrase(sorted(unmade))}.")
    said.append(
        f"The count of melts has gaps that nothing explains: {melts_phrase(strange)}. Ask what became of them."
        if strange
        else "The count of melts has no gap" + (" that the plan does not explain." if unmade else ".")
    )
    if log.series.folder is not None and (log.series.folder / "journal.jsonl").is_file():
        said.append(
            "Behind the log stands a journal that keeps every entry and every correction, each bound to the one before "
            "by a fingerprint: what is taken out leaves a trace there."
        )
    return said


def _firings(chain: ChainFit, found: Learning) -> list[str]:
    log, series = chain.log, chain.series
    counts = {firing: int(np.sum(log.firings == firing)) for firing in sorted({e.firing for e in log.entries})}
    days = {entry.date for entry in log.entries if entry.date is not None}
    shared = sum(n > 1 for n in counts.values())
    what = "castings" if series.moulds_per_melt > 1 else "melts"
    said = [
        f"{len(log.entries)} {what} came from {len(counts)} firing{'s' * (len(counts) != 1)}"
        + (f" on {len(days)} day{'s' * (len(days) != 1)}" if days else "")
        + (_sharing(shared, len(counts)) if shared else ", one each: firing and melt cannot be parted.")
    ]
    if len(counts) > 1 and len(days) == len(counts):
        said.append("Every firing had a day of its own, so what the day did cannot be told from what the firing did.")
    noted = dict.fromkeys(name for stage in chain.stages for name in stage.data.nuisance.names)
    if noted:
        said.append(f"Noted with each melt and allowed for in the fit: {listed(list(noted))}.")
    if series.per_firing:
        names = listed([series.factor_names[i] for i in series.per_firing])
        said.append(
            f"{capital(names)} {'was' if len(series.per_firing) == 1 else 'were'} set per firing, so only differences "
            f"between these {len(counts)} firings speak of {'it' if len(series.per_firing) == 1 else 'them'}; the "
            "intervals allow for that."
        )
    for stage in chain.stages:
        if stage.data.groups is None or not stage.n_seen:
            continue
        low, middle, high = np.quantile(stage.firing_sd_draws, [(1 - chain.level) / 2, 0.5, (1 + chain.level) / 2])
        unit = stage.outcome.unit if stage.outcome.kind == "measured" else "log odds"
        said.append(
            f"{capital(stage.outcome.name)}: what castings of one {stage.data.group_kind} share has a spread of about "
            f"{middle:.2g} {unit} (between {low:.2g} and {high:.2g} with {100 * chain.level:g} % probability); every "
            "chance here is for a new one and averages over it."
        )
    if found.drifts is not None:
        said += drift_sentences(chain, found.drifts)
    return said


def _sharing(shared: int, firings: int) -> str:
    if shared == firings:
        return "; every firing held more than one." if firings > 1 else ", which held them all."
    return f"; {shared} of the firings held more than one."


def _single(chain: ChainFit, found: Learning) -> tuple[str, ...]:
    said = influence_sentences(chain, found.influence) if found.influence is not None else ()
    return said or ("With so few melts everything rests on each of them.",)


def _other_models(chain: ChainFit, best: BestSetting, found: Learning, refits: bool) -> list[str]:
    said = [_classical(chain)]
    terms = _other_terms(chain)
    if refits and terms:
        second = any(term.order > 1 for term in terms)
        other = fit_chain(
            replace(chain.series, terms=terms, own_terms={}),
            chain.log,
            level=chain.level,
            seed=chain.seed,
            effort="draft",
        )
        there = other.best()
        here = float(other.success_draws(best.raw).mean())
        named = "with interactions and squares of all factors" if second else "with main effects alone"
        said.append(
            f"A model {named} puts the chance at the recommended setting at "
            + ("the same " if percent(here) == percent(best.chance) else "")
            + percent(here)
            + ("" if percent(here) == percent(best.chance) else f" instead of {percent(best.chance)}")
            + "; "
            + (
                f"it would rather have {chain.series.show(there.settings)} ({percent(there.chance)})."
                if there.chance - here >= _CLEARLY
                else "no other setting is clearly better by it."
            )
            + (
                " How often it works therefore hangs on which of the two models is nearer to the truth."
                if abs(here - best.chance) >= _FAR_APART
                else ""
            )
        )
    if found.beliefs is not None:
        said.append(belief_sentences(chain.series, found.beliefs)[-2])
    if found.chemistry is not None:
        said.append(chemistry_conclusion(chain.series, found.chemistry))
    said.append(_without_model(chain, best))
    return said


def _other_terms(chain: ChainFit) -> tuple[Term, ...]:
    """Main effects alone where the fit has more; otherwise products and squares besides, if there are not too many."""
    factors = chain.series.factors
    if any(term.order > 1 for stage in chain.stages for term in stage.terms):
        return main_terms(factors)
    if len(factors) > _FACTORS_CROSSED:
        return ()
    return (*main_terms(factors), *cross_terms(factors), *square_terms(factors))


def _classical(chain: ChainFit) -> str:
    """Whether the effects that matter go the same way in the fits that know no prior."""
    same: list[str] = []
    other: list[str] = []
    none = 0
    for stage in chain.stages:
        for effect in stage.effects:
            if not effect.estimable or (effect.inclusion or 0.0) < MATTERS:
                continue
            # a measurement's estimate is in its unit, all others in log odds of better
            by_value = stage.outcome.kind == "measured"
            start, end = (effect.value_from, effect.value_to) if by_value else (effect.chance_from, effect.chance_to)
            if effect.estimate is None or start is None or end is None:
                none += 1
                continue
            agrees = np.sign(effect.estimate) == np.sign(end - start)
            (same if agrees else other).append(f"{times(effect.label)} on {stage.outcome.name}")
    if not same and not other:
        return "No effect is sure enough to be compared with the classical fits, which know nothing of the prior."
    total = len(same) + len(other)
    if total == 1:
        text = f"The one effect that more likely than not matters goes {'the same' if same else 'the other'} way"
    elif not other:
        text = f"All {total} effects that more likely than not matter go the same way"
    else:
        text = f"Of the {total} effects that more likely than not matter, {len(same)} go the same way"
    text += " in the classical fits, which know nothing of the prior"
    text += f"; the other way: {listed(other)}" if other else ""
    return text + (f"; {none} more have no classical estimate." if none else ".")


def _without_model(chain: ChainFit, best: BestSetting) -> str:
    """The melts nearest to the recommended setting, counted."""
    log = chain.log
    ended = [(log.succeeded(entry), entry.melt, row) for entry, row in zip(log.entries, log.raw, strict=True)]
    known = [
        (_distance(chain, best.raw, row), melt, good)
        for good, melt, row in ended
        if good is not None and np.isfinite(row).all()
    ]
    if not known:
        return "No melt is known to its end, so nothing can be counted without a model."
    farthest = sorted(known)[:_NEAREST][-1][0]
    near = [one for one in sorted(known) if one[0] <= farthest + 1e-9]  # all that stand as near as the last
    return (
        f"Without any model: of the {len(near)} castings made nearest to the recommended setting "
        f"({melts_phrase(sorted({melt for _, melt, _ in near}))}) {sum(good for _, _, good in near)} "
        f"{'was' if sum(good for _, _, good in near) == 1 else 'were'} good throughout."
    )


def _distance(chain: ChainFit, here: FloatArray, there: FloatArray) -> float:
    """Root of summed squares of coded differences, each as a share of its factor's range; another option counts 1."""
    total = 0.0
    for i, factor in enumerate(chain.series.factors):
        if isinstance(factor, Choice):
            total += float(here[i] != there[i])
        else:
            total += float(np.diff(factor.coded(np.array([here[i], there[i]])))[0] / 2) ** 2
    return round(float(np.sqrt(total)), 9)


def _changes(chain: ChainFit, best: BestSetting, found: Learning, refits: bool) -> list[str]:
    said = list(further_sentences(chain, best)) if refits else []
    if found.influence is not None:
        telling = [m.melt for m in found.influence.melts if m.other_setting or m.verdict_changes]
        said.append(
            f"Leaving out {'any one of ' * (len(telling) > 1)}{melts_phrase(telling)} would change it (see above)."
            if telling
            else "Leaving out any single melt would not change it."
        )
    said.append(
        "Another lot of rock, another kiln or another size would have to be tried: nothing here speaks of them."
    )
    return said
