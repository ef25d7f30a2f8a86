"""What no planned melt may ask for: a number used twice, a setting outside range or limit, a firing that cannot be."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence

from meltdoe.errors import Problem
from meltdoe.log.entry import Where
from meltdoe.log.numbers import number_text
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series.factor import Amount, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["check_plan"]

_ANEW = "or draw up what is still to be melted anew with: meltdoe plan"


def check_plan(
    series: MeltSeries, melts: Sequence[tuple[PlannedMelt, Where]], done: Collection[int] = ()
) -> tuple[Problem, ...]:
    """What planned melts may not say: twice one number, outside range or limit, too many or unlike in a firing."""
    problems: list[Problem] = []
    for column in ("melt", "order"):
        seen: dict[int, Where] = {}
        for melt, where in melts:
            number = getattr(melt, column)
            if number in seen:
                line = f" already in line {seen[number].line}" if seen[number].line else " already"
                problems.append(where.problem(f"{column} {number} stands{line}", f"give each row its own {column}"))
            seen.setdefault(number, where)
    for melt, where in melts:
        if melt.melt in done:
            continue
        problems += _outside(series, melt, where)
        factors = {factor.name: factor for factor in series.factors}
        known = {
            name: value
            for name, value in melt.settings.items()
            if isinstance(factor := factors[name], Amount) or value in factor.options
        }
        for limit in series.broken_limits(known):
            problems.append(
                where.problem(
                    f'melt {melt.melt} breaks the limit "{limit.keep}" ({limit.why})',
                    f"change its settings until the limit holds, {_ANEW}",
                )
            )
    return (*problems, *_firing_problems(series, melts))


def _outside(series: MeltSeries, melt: PlannedMelt, where: Where) -> list[Problem]:
    problems = []
    for factor in series.factors:
        value = melt.settings[factor.name]
        if not isinstance(factor, Amount):
            if value not in factor.options:
                what = f'melt {melt.melt} has {factor.name} "{value}", which is none of its options'
                problems.append(where.problem(what, f"write one of: {', '.join(factor.options)}"))
            continue
        number, slack = float(value), 1e-9 * max(abs(factor.low), abs(factor.high))
        if not factor.low - slack <= number <= factor.high + slack:
            what = f"melt {melt.melt} has {factor.name} {factor.show(number)}, outside its range"
            low, high = number_text(factor.low), number_text(factor.high)
            problems.append(where.problem(what, f"keep it within {low} to {high}, {_ANEW}"))
    return problems


def _firing_problems(series: MeltSeries, melts: Sequence[tuple[PlannedMelt, Where]]) -> list[Problem]:
    problems: list[Problem] = []
    firings: defaultdict[int, list[tuple[PlannedMelt, Where]]] = defaultdict(list)
    for melt, where in melts:
        firings[melt.firing].append((melt, where))
    most = series.kiln.melts_per_firing
    for firing, inside in firings.items():
        if len(inside) > most:
            what = f"firing {firing} holds {len(inside)} melts, but the kiln takes {most}"
            problems.append(inside[most][1].problem(what, "move some of them to another firing"))
        for factor in series.factors:
            if factor.set_per != "firing":
                continue
            usual = Counter(melt.settings[factor.name] for melt, _ in inside).most_common(1)[0][0]
            for melt, where in inside:
                mine = melt.settings[factor.name]
                if mine != usual:
                    what = (
                        f"melt {melt.melt} has {factor.name} {_shown(mine)}, but firing {firing} is set to "
                        f"{_shown(usual)}"
                    )
                    mend = f"write one {factor.name} for the whole firing, or move the melt to another firing"
                    problems.append(where.problem(what, mend))
    return problems


def _shown(value: Setting) -> str:
    return value if isinstance(value, str) else number_text(value)
