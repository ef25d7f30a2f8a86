"""Plans, fits and advice shown in a notebook as what the report says of them.

The numerical rooms know no HTML, so nothing is added to their classes: `register` tells the notebook's own display
formatter what to do with them. Importing the package inside a notebook does so by itself; elsewhere
``%load_ext meltdoe.report.notebook`` does.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meltdoe.fit.stages.stage_chain import ChainFit
    from meltdoe.next_melt.advice import Advice
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.report.tables import Table

__all__ = ["advice_html", "chain_html", "load_ipython_extension", "plan_html", "register", "register_if_running"]


def plan_html(plan: Plan) -> str:
    """A plan: why it was drawn up, and every melt."""
    from meltdoe.report.tables import plan_table

    return _said([plan.reason or f"The plan was made {plan.design}."]) + _table(plan_table(plan))


def chain_html(chain: ChainFit) -> str:
    """A fit: the conclusion, and what each change of settings does to each outcome."""
    from meltdoe.errors import Inestimable
    from meltdoe.report.result_tables import effect_table
    from meltdoe.report.sentences import chain_sentences, counted_sentence

    try:
        said = chain_sentences(chain) if any(stage.outcome.counts for stage in chain.stages) else ()
    except Inestimable as why:
        said = (f"{why}.",)
    counted = tuple(counted_sentence(stage) for stage in chain.stages)
    tables = [effect_table(stage) for stage in chain.stages if stage.n_seen]
    return _said([*said, *counted]) + "".join(_table(table) for table in tables if table is not None)


def advice_html(advice: Advice) -> str:
    """Advice: go on or stop, and the melts proposed, with their chances."""
    from meltdoe.fit.stages.phrases import percent

    best = advice.best
    lines = [
        f"{advice.verdict.word.capitalize()} ({advice.verdict.ending}).",
        f"Best setting so far: {_settings(best.settings)}; chance of success {percent(best.chance)} "
        f"({percent(best.low)} to {percent(best.high)} with {100 * advice.level:g} % probability).",
    ]
    for melt in advice.melts:
        when = "If you go on, beyond the budget" if advice.spent else f"Next, firing {melt.firing}"
        lines.append(
            f"{when}: {_settings(melt.settings)}; chance of success {percent(melt.chance)} "
            f"({percent(melt.low)} to {percent(melt.high)})."
        )
    return _said(lines)


def register(shell: Any) -> None:
    """Tell a notebook's shell how to show plans, fits and advice; nothing else is imported until one is shown."""
    formatter = shell.display_formatter.formatters["text/html"]
    shown: dict[tuple[str, str], Callable[[Any], str]] = {
        ("meltdoe.plans.melt_plan", "Plan"): plan_html,
        ("meltdoe.fit.stages.stage_chain", "ChainFit"): chain_html,
        ("meltdoe.next_melt.advice", "Advice"): advice_html,
    }
    for (module, name), function in shown.items():
        formatter.for_type_by_name(module, name, function)


def load_ipython_extension(shell: Any) -> None:
    """What ``%load_ext`` calls."""
    register(shell)


def register_if_running() -> None:
    """Register with the notebook that is running, if one is."""
    module = sys.modules.get("IPython")
    shell = module.get_ipython() if module is not None and hasattr(module, "get_ipython") else None
    if shell is not None and hasattr(shell, "display_formatter"):
        register(shell)


def _settings(settings: Any) -> str:
    shown = {name: f"{value:g}" if isinstance(value, float) else value for name, value in settings.items()}
    return ", ".join(f"{name} {value}" for name, value in shown.items())


def _said(sentences: Iterable[str]) -> str:
    return "".join(f"<p>{_safe(sentence)}</p>" for sentence in sentences)


def _table(table: Table) -> str:
    head = "".join(f'<th scope="col">{_safe(column.title)}</th>' for column in table.columns)
    body = "".join("<tr>" + "".join(f"<td>{_safe(cell)}</td>" for cell in row) + "</tr>" for row in table.rows)
    note = f"<p><small>{_safe(table.note)}</small></p>" if table.note else ""
    caption = f"<caption>{_safe(table.caption)}</caption>"
    return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{note}"


def _safe(text: str) -> str:
    from meltdoe.report.plain_text import plain

    return escape(plain(text))
