"""Writing a commented series.toml that reads back to the same `MeltSeries`."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Sequence

from meltdoe.files.series_limits import ceiling_limits
from meltdoe.files.series_toml import SERIES
from meltdoe.series.belief import Belief, Circumstance
from meltdoe.series.budget import Budget, Costs, Kiln
from meltdoe.series.factor import Amount, Factor, Setting
from meltdoe.series.limit import Limit
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome
from meltdoe.units import Quantity

__all__ = ["series_text"]

_HEAD = """\
# The question of this series of test melts. Lines that begin with "# " are remarks;
# take the # away from a line such as "#seed = 1" to switch it on. Check the file with: meltdoe check
"""
_FACTORS = """\
# What is set. kind = "amount" is a number from low to high in steps (unit: wt%, °C, °F, min, h, mm, in, g ...);
# "choice" has options without an order, "ordered" has options from least to most.
# set_per says where it is really set anew: for each firing of the kiln, each melt, or each mould.
# scale = "log" suits times and other amounts where doubling matters more than adding.
"""
_LIMITS = """\
# What must never be tried: a comparison of amounts, with + - * / ^ and brackets. The reason is printed where it bites.
"""
_OUTCOMES = """\
# What is seen, in the order of the work. kind = "pass" is yes or no, "grade" is one of a few words (best first),
# "measured" is a number, with bounds where it cannot lie outside them. An outcome that comes after another exists only
# where that one was good: a crack cannot be seen in a casting that never left the crucible.
# good: the good grades, or "at least 95", "at most 3", "between 10 and 20".
"""
_BUDGET = "# What the series may take; leave out what does not matter.\n"
_KILN = "# No temperature above max_temperature is ever proposed. Stay below what the kiln's maker allows.\n"
_MOULD = "# Into how many moulds each melt is poured.\n"
_COST = "# What one melt and one firing cost, and what a bad outcome costs on top.\n"
_BELIEFS = """\
# What is expected before melting: the chance that an outcome is good at a setting, and how many melts' worth of
# evidence that opinion is. Factors that are left out stand in the middle of their range.
"""
_CIRCUMSTANCES = "# What is written down but not set: the weather, which kiln, the crucible's age.\n"
_TERMS = "# Which effects to look for. Without any, the program chooses by itself.\n"
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+\Z")


def series_text(series: MeltSeries, examples: bool = False) -> str:
    """The whole series as the text of a series.toml, with remarks.

    Parameters
    ----------
    examples : whether parts that the series does not use are shown as examples, switched off by a leading #.
    """
    own = series.limits[: len(series.limits) - len(ceiling_limits(series.factors, series.kiln.max_temperature))]
    parts = [
        _HEAD + _lines(_top(series)),
        _BUDGET + _lines(["[budget]", *_budget(series.budget)]) if series.budget != Budget() else "",
        _KILN + _lines(["[kiln]", *_kiln(series.kiln)]),
        _MOULD + _lines(["[mould]", f"moulds_per_melt = {series.moulds_per_melt}"])
        if series.moulds_per_melt > 1
        else "",
        _FACTORS + _blocks("factor", map(_factor, series.factors)),
        _LIMITS + _blocks("limit", map(_limit, own)) if own else "",
        _OUTCOMES + _blocks("outcome", map(_outcome, series.outcomes)),
        _COST + _lines(["[cost]", *_cost(series.costs)]) if series.costs != Costs() else "",
        _BELIEFS + _blocks("belief", map(_belief, series.beliefs)) if series.beliefs else "",
        _TERMS + _blocks("term", ([f"use = {_text(str(term))}"] for term in series.terms)) if series.terms else "",
        _CIRCUMSTANCES + _blocks("circumstance", map(_circumstance, series.circumstances))
        if series.circumstances
        else "",
        *(_examples(series, own) if examples else ()),
    ]
    return "\n".join(part for part in parts if part)


def _lines(lines: Iterable[str]) -> str:
    return "\n".join(lines) + "\n"


def _blocks(key: str, blocks: Iterable[Sequence[str]]) -> str:
    return "\n".join(_lines([f"[[{key}]]", *block]) for block in blocks)


def _switched_off(remark: str, lines: Iterable[str]) -> str:
    return remark + _lines(f"#{line}" for line in lines)


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _texts(values: Iterable[str]) -> str:
    return "[" + ", ".join(map(_text, values)) + "]"


def _number(value: float) -> str:
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(float(value))


def _setting(value: Setting) -> str:
    return _text(value) if isinstance(value, str) else _number(value)


def _key(name: str) -> str:
    return name if _BARE_KEY.match(name) else _text(name)


def _quantity(quantity: Quantity) -> str:
    return _text(f"{_number(quantity.value)} {quantity.unit}")


def _given(**values: str | None) -> list[str]:
    """key = value for whatever is given; the values are TOML already."""
    return [f"{key} = {value}" for key, value in values.items() if value is not None]


def _or_none(value: str) -> str | None:
    return _text(value) if value else None


def _top(series: MeltSeries) -> list[str]:
    return [
        f"format = {SERIES.newest}",
        f"title = {_text(series.title)}",
        *_given(goal=_or_none(series.goal)),
        f"target_chance = {_number(series.target_chance)}  # chance of success wanted of the best setting",
        f"seed = {series.seed}  # the same seed draws up the same plan",
    ]


def _budget(budget: Budget) -> list[str]:
    return _given(
        melts=None if budget.melts is None else str(budget.melts),
        firings=None if budget.firings is None else str(budget.firings),
        money=None if budget.money is None else _number(budget.money),
        currency=_or_none(budget.currency),
    )


def _kiln(kiln: Kiln) -> list[str]:
    ceiling = kiln.max_temperature
    return _given(
        melts_per_firing=str(kiln.melts_per_firing),
        max_temperature=None if ceiling is None else _quantity(ceiling),
    )


def _factor(factor: Factor) -> list[str]:
    head = _given(name=_text(factor.name), label=_or_none(factor.label), kind=_text(factor.kind))
    if isinstance(factor, Amount):
        body = _given(
            unit=_or_none(factor.unit),
            low=_number(factor.low),
            high=_number(factor.high),
            step=None if factor.step is None else _number(factor.step),
            scale=None if factor.scale == "linear" else _text(factor.scale),
        )
    else:
        body = _given(options=_texts(factor.options))
    return [*head, *body, f"set_per = {_text(factor.set_per)}"]


def _limit(limit: Limit) -> list[str]:
    return _given(keep=_text(limit.keep), why=_or_none(limit.why))


def _good_range(good: GoodRange) -> str:
    if math.isinf(good.high):
        return f"at least {_number(good.low)}"
    if math.isinf(good.low):
        return f"at most {_number(good.high)}"
    return f"between {_number(good.low)} and {_number(good.high)}"


def _outcome(outcome: Outcome) -> list[str]:
    good = None
    if isinstance(outcome.good, GoodRange):
        good = _text(_good_range(outcome.good))
    elif outcome.good is not None:
        good = _texts(outcome.good)
    bounds = None if outcome.bounds is None else "[" + ", ".join(map(_number, outcome.bounds)) + "]"
    return _given(
        name=_text(outcome.name),
        question=_or_none(outcome.question),
        kind=_text(outcome.kind),
        unit=_or_none(outcome.unit),
        grades=_texts(outcome.grades) if outcome.grades else None,
        bounds=bounds,
        after=None if outcome.after is None else _text(outcome.after),
        good=good,
        seen_per=None if outcome.seen_per == "melt" else _text(outcome.seen_per),
    )


def _cost(costs: Costs) -> list[str]:
    lines = _given(melt=_number(costs.melt), firing=_number(costs.firing))
    if costs.loss:
        lines += ["[cost.loss]", *(f"{_key(name)} = {_number(loss)}" for name, loss in costs.loss.items())]
    return lines


def _belief(belief: Belief) -> list[str]:
    at = ", ".join(f"{_key(name)} = {_setting(value)}" for name, value in belief.at.items())
    return _given(
        at=f"{{ {at} }}" if at else "{}",
        outcome=_text(belief.outcome),
        chance=_number(belief.chance),
        worth=_number(belief.worth),
    )


def _circumstance(circumstance: Circumstance) -> list[str]:
    return _given(
        name=_text(circumstance.name),
        label=_or_none(circumstance.label),
        unit=_or_none(circumstance.unit),
        options=_texts(circumstance.options) if circumstance.options else None,
    )


def _examples(series: MeltSeries, own: Sequence[Limit]) -> list[str]:
    """Blocks that the series does not use, switched off; each would be valid when switched on."""
    amounts = [factor for factor in series.factors if isinstance(factor, Amount)]
    counting = [outcome for outcome in series.outcomes if outcome.counts]
    taken = {name.casefold() for name in (*series.factor_names, *(outcome.name for outcome in series.outcomes))}
    found = []
    if series.budget == Budget():
        found.append(_switched_off(_BUDGET, ["[budget]", *_budget(Budget(14, 6, 400.0, "EUR"))]))
    if amounts and not own:
        keep = f"{amounts[0].name} <= {_number(amounts[0].high)}"
        found.append(_switched_off(_LIMITS, ["[[limit]]", f"keep = {_text(keep)}", 'why = "more would be unsafe"']))
    if counting and series.costs == Costs():
        loss = {counting[0].name: 45.0}
        found.append(_switched_off(_COST, ["[cost]", *_cost(Costs(12.0, 9.5, loss))]))
    if amounts and counting and not series.beliefs:
        belief = Belief({amounts[0].name: amounts[0].low}, counting[0].name, 0.6)
        found.append(_switched_off(_BELIEFS, ["[[belief]]", *_belief(belief)]))
    if len(amounts) > 1 and not series.terms:
        term = f"{amounts[0].name} * {amounts[1].name}"
        found.append(_switched_off(_TERMS, ["[[term]]", f"use = {_text(term)}"]))
    if "humidity" not in taken and not series.circumstances:
        circumstance = Circumstance("humidity", "Humidity of the air", "%")
        found.append(_switched_off(_CIRCUMSTANCES, ["[[circumstance]]", *_circumstance(circumstance)]))
    if series.moulds_per_melt == 1:
        found.append(_switched_off(_MOULD, ["[mould]", "moulds_per_melt = 2"]))
    return found
