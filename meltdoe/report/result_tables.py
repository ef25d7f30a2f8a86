"""Tables of what came out: effects, the recommendation, its risk, what was expected and seen, what next, cautions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.effects import Effect
from meltdoe.fit.stages.phrases import good_phrase, measure, p_phrase, percent, points
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.glass.cautions import Caution
from meltdoe.next_melt.advice import Advice
from meltdoe.report.advice_sentences import TELLS_SCALE, tells
from meltdoe.report.tables import Column, Table, times
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries

__all__ = ["caution_table", "effect_table", "next_table", "predicted_table", "setting_table", "stage_table"]


def effect_table(stage: StageFit) -> Table | None:
    """Every effect that the melts can tell apart: posterior beside the classical fit; None where there is none."""
    told = [effect for effect in stage.effects if effect.estimable]
    if not told:
        return None
    told.sort(key=lambda effect: -(effect.inclusion or 0.0))
    on_values = any(effect.value_from is not None for effect in told)
    on_chances = any(effect.chance_from is not None for effect in told)
    unit = f" ({stage.outcome.unit})" if stage.outcome.unit else ""
    columns = [Column("Change")]
    columns += [Column(f"Mean{unit}", "number"), Column(f"Change{unit}", "number")] if on_values else []
    columns += [Column("Chance of good", "number"), Column("Change (points)", "number")] if on_chances else []
    columns += [Column("Matters", "number"), Column("Classical estimate", "number"), Column("p", "number")]
    rows = [_effect_row(effect, on_values, on_chances) for effect in told]
    scale = "in the outcome's unit" if stage.outcome.kind == "measured" else "in log odds of better"
    good = "" if not on_chances else f" Good: {good_phrase(stage.outcome)}."
    return Table(
        f"What each change of settings does to {stage.outcome.name}",
        tuple(columns),
        tuple(rows),
        f"{stage.n_seen} melts; all intervals at {100 * stage.level:g} %. Chances and means average over the posterior "
        f"and over the settings of the melts seen; matters: the posterior chance that the effect is more than small."
        f"{good} Classical estimate: {stage.classical.method}, {scale}, with limits; it knows nothing of the prior, "
        "so the two may differ where melts are few.",
    )


def _effect_row(effect: Effect, on_values: bool, on_chances: bool) -> tuple[str, ...]:
    cells = [f"{times(effect.label)}: {effect.from_setting} → {effect.to_setting}"]
    if on_values:
        if (
            effect.value_from is None
            or effect.value_to is None
            or effect.value_low is None
            or effect.value_high is None
        ):
            cells += ["", ""]
        else:
            cells.append(f"{measure(effect.value_from)} → {measure(effect.value_to)}")
            cells.append(f"{measure(effect.value_low, sign=True)} to {measure(effect.value_high, sign=True)}")
    if on_chances:
        ends = effect.chance_from, effect.chance_to, effect.change_low, effect.change_high
        if ends[0] is None or ends[1] is None or ends[2] is None or ends[3] is None:
            cells += ["", ""]
        else:
            cells.append(f"{percent(ends[0])} → {percent(ends[1])}")
            cells.append(f"{points(ends[2])} to {points(ends[3])}")
    cells.append("" if effect.inclusion is None else percent(effect.inclusion))
    if effect.estimate is None or effect.low is None or effect.high is None:
        cells += [effect.why_not or "none", ""]
    else:
        estimate, low, high = (f"{round(value, 2) + 0.0:+.2f}" for value in (effect.estimate, effect.low, effect.high))
        limits = f"{low} to {high}"
        cells += [
            f"{estimate} ({limits})",
            "" if effect.p_value is None else p_phrase(effect.p_value).removeprefix("p ").removeprefix("= "),
        ]
    return tuple(cells)


def setting_table(series: MeltSeries, best: BestSetting) -> Table:
    """The recommended setting, factor by factor."""
    rows = []
    for factor in series.factors:
        value = best.settings[factor.name]
        shown = factor.show(float(value)) if isinstance(factor, Amount) else str(value)
        at_end = ""
        if isinstance(factor, Amount) and float(value) in (factor.low, factor.high):
            at_end = f"at the {'lowest' if float(value) == factor.low else 'highest'} of its range"
        rows.append((factor.name, factor.label, shown, at_end))
    columns = Column("Factor"), Column("What it is"), Column("Setting"), Column("Remark")
    return Table("The setting recommended", columns, tuple(rows)).without_empty_columns()


def stage_table(chain: ChainFit, best: BestSetting) -> Table:
    """Where the risk lies at the best setting, stage by stage."""
    shares = chain.stage_failure_share(best.raw)
    rows = []
    for stage in chain.stages:
        if not stage.outcome.counts:
            continue
        draws = stage.chance_draws(best.raw)[:, 0]
        low, high = np.quantile(draws, [(1 - chain.level) / 2, (1 + chain.level) / 2])
        rows.append(
            (
                good_phrase(stage.outcome),
                percent(float(draws.mean())),
                f"{percent(float(low))} to {percent(float(high))}",
                percent(float(shares[stage.outcome.name][0])), f"{stage.n_good} of {stage.n_seen}",
            )
        )  # fmt: skip
    columns = (
        Column("Stage"), Column("Chance, once reached", "number"),
        Column(f"Interval, {100 * chain.level:g} %", "number"),
        Column("Share of expected failures", "number"), Column("Good of all seen", "number"),
    )  # fmt: skip
    return Table("Where the remaining risk lies at the recommended setting", columns, tuple(rows))


def predicted_table(chain: ChainFit) -> Table:
    """What the model expects of every melt made, whole chain, beside what happened."""
    chance = chain.chance(chain.log.raw)
    with_mould = chain.series.moulds_per_melt > 1
    rows = []
    for i, entry in sorted(enumerate(chain.log.entries), key=lambda item: (item[1].melt, item[1].mould)):
        seen = {True: "good throughout", False: "not good", None: "not known"}[chain.log.succeeded(entry)]
        name = f"{entry.melt}.{entry.mould}" if with_mould else str(entry.melt)
        interval = f"{percent(float(chance.low[i]))} to {percent(float(chance.high[i]))}"
        rows.append((name, percent(float(chance.mean[i])), interval, seen))
    columns = (
        Column("Melt", "number"), Column("Expected chance of full success", "number"),
        Column(f"Interval, {100 * chain.level:g} %", "number"), Column("Seen"),
    )  # fmt: skip
    return Table(
        "Expected and seen, melt by melt", columns, tuple(rows),
        "The model has seen these very melts, so this flatters it.",
    )  # fmt: skip


def next_table(series: MeltSeries, advice: Advice) -> Table:
    """The proposed melts."""
    money = f"Cost ({series.budget.currency})" if series.budget.currency else "Cost"
    columns = [Column("Proposal", "number"), Column("Firing", "number"), Column("Settings"), Column("Chance", "number")]
    columns += [Column(f"Interval, {100 * advice.level:g} %", "number"), Column("Tells", "number")]
    columns += [Column(money, "number")] if series.costs.known else []
    columns += [Column("Chance of a costly failure", "number")] if any(series.costs.loss.values()) else []
    rows: list[Sequence[str]] = []
    for i, melt in enumerate(advice.melts, 1):
        cells = [
            str(i),
            "beyond the budget" if advice.left.firings == 0 else str(melt.firing),
            series.show(melt.settings),
            percent(melt.chance),
        ]
        cells += [f"{percent(melt.low)} to {percent(melt.high)}", tells(melt.information)]
        cells += [f"{melt.cost:.0f}"] if series.costs.known else []
        cells += [percent(melt.risk)] if any(series.costs.loss.values()) else []
        rows.append(cells)
    note = f"Tells: what a melt is expected to teach beside those above it; {TELLS_SCALE}."
    return Table("The next melts proposed", tuple(columns), tuple(map(tuple, rows)), note)


def caution_table(cautions: Sequence[Caution]) -> Table:
    """Hazards and what to do, the deference to local codes last."""
    rows = tuple(
        (
            caution.hazard, caution.what_to_do,
            "; ".join(text for text in (caution.authority, caution.limit_value) if text not in ("", "-")),
            caution.how_obtained, "; ".join(caution.because[:4]),
        )
        for caution in cautions
    )  # fmt: skip
    columns = (
        Column("Hazard"),
        Column("What to do"),
        Column("Authority and limit"),
        Column("Source"),
        Column("Called for by"),
    )
    return Table("Cautions that this work calls for", columns, rows)
