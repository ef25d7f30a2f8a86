"""One melt by questions: number, settings with the plan's as default, outcomes only as far as it got."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meltdoe.cli.console import ask, can_ask, warn
from meltdoe.errors import WrongUsage

if TYPE_CHECKING:
    from meltdoe.log.melt_log import Log
    from meltdoe.series.belief import Circumstance
    from meltdoe.series.melt_series import MeltSeries
    from meltdoe.series.outcome import Outcome, Seen

__all__ = ["ask_for_melt"]


def ask_for_melt(series: MeltSeries, log: Log) -> tuple[int | None, dict[str, str], str | None]:
    """Ask for one melt: number, settings with the plan's as default, outcomes only as far as it got."""
    from meltdoe.files.store.plan_csv import planned_melts
    from meltdoe.log.cell_words import read_actual, read_outcome

    plan = {m.melt: m for m in planned_melts(series)}
    waiting = [number for number in plan if number not in log.melt_numbers]
    answer = _asked(
        "Which melt? (Enter takes the one in brackets; 0 is one outside the plan)"
        if waiting
        else "Which melt? (Enter for one outside the plan)",
        str(waiting[0]) if waiting else "",
        _melt_number,
    )
    melt = _melt_number(answer)
    said: dict[str, str] = {}
    for factor in series.factors:
        planned = plan[melt].settings[factor.name] if melt in plan else None
        default = None if planned is None else f"{planned:g}" if isinstance(planned, float) else planned
        value = _asked(
            f"{factor.title}{f' in {u}' if (u := getattr(factor, 'unit', '')) else ''}?",
            default,
            lambda t, f=factor: read_actual(f, t),
        )
        if value != (default or ""):
            said[factor.name] = value
    warn(
        'For an outcome write what was seen; "later" where it is not known yet; "lost" where it will never be known',
        "(nobody looked, or a power cut ended the melt). Where nothing was seen, press Enter and say why at the end.",
    )
    good: dict[str, bool] = {}
    for outcome in series.outcomes:
        if outcome.after is not None and not good.get(outcome.after, False):
            good[outcome.name] = False
            continue
        words = " or ".join(outcome.words) if len(outcome.words) == 2 else ", ".join(outcome.words)
        reached = outcome.after is not None
        question = f"{outcome.title} ({words or outcome.unit or 'a number'})"
        text = _asked(question, None, lambda t, o=outcome, r=reached: _seen(o, t, reached=r))
        said[outcome.name] = text
        good[outcome.name] = outcome.is_good(read_outcome(outcome, text)) is True
    for circumstance in series.circumstances:
        value = _asked(
            f"{circumstance.label or circumstance.name}? (Enter leaves it out)",
            "",
            lambda t, c=circumstance: _circumstance(series, c, t),
        )
        if value:
            said[circumstance.name] = value
    nothing = not any(said.get(outcome.name) for outcome in series.outcomes)
    note = ask("Why was nothing seen?" if nothing else "Anything odd? (Enter for nothing)", "")
    while nothing and not note:
        warn("  Write in a few words what ended the melt, such as: power cut at 600 °C.")
        note = ask("Why was nothing seen?", "")
    if can_ask():
        shown = ", ".join(f"{name} {value}" for name, value in said.items() if value) or "settings as planned"
        warn("", f"This is what was understood: {shown}{f'; note: {note}' if note else ''}.")
        if ask("Write it? (yes or no)", "yes").lower() not in ("yes", "y"):
            raise WrongUsage("nothing was written, as you wished")
    return melt, said, note or None


def _circumstance(series: MeltSeries, circumstance: Circumstance, text: str) -> None:
    """Raises ValueError for a circumstance that cannot be read, weights among them."""
    from meltdoe.log.cell_words import read_circumstance
    from meltdoe.steps import refuse_weighed

    read_circumstance(circumstance, text)
    if series.recipe is not None and circumstance.name == series.recipe.weighed:
        refuse_weighed(series, text)


def _melt_number(text: str) -> int | None:
    """The number of a melt; None for one outside the plan. Raises ValueError for anything else."""
    if not text.isdigit() and text:
        raise ValueError(f'"{text}" is no number of a melt; write a whole number')
    return int(text or 0) or None


def _asked(question: str, default: str | None, understood: Any) -> str:
    while True:
        answer = ask(question, default)
        try:
            understood(answer)
        except ValueError as fault:
            warn(f"  {fault}")
        else:
            return answer


def _seen(outcome: Outcome, text: str, *, reached: bool) -> Seen:
    """What was seen; raises ValueError where nothing is said of an outcome that the melt has reached."""
    from meltdoe.log.cell_words import read_outcome
    from meltdoe.log.entry import QUESTION

    if reached and not text:
        raise ValueError(QUESTION)
    return read_outcome(outcome, text)
