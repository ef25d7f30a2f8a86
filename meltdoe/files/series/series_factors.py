"""Reading [[factor]], [[circumstance]] and [[term]]: what is set, what is only recorded, and the terms asked for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Literal, cast

from meltdoe.files.quoting import listed, quoted
from meltdoe.files.series.series_block import Block
from meltdoe.files.series.series_keys import nearest
from meltdoe.series.belief import Circumstance
from meltdoe.series.chemistry import QUANTITIES
from meltdoe.series.factor import Amount, Choice, Factor, Ordered, SetPer
from meltdoe.series.outcome import Outcome
from meltdoe.series.terms import Term, parse_term
from meltdoe.units import canonical, dimension, parse_quantity, to_si

__all__ = ["LOG_COLUMNS", "read_circumstance", "read_factor", "read_name", "read_terms", "refuse_clashes"]

LOG_COLUMNS = ("melt", "firing", "date", "order", "purpose", "note", "mould")
_NAME = re.compile(r"[^\W\d_]\w{0,39}\Z")
_MOST_STEPS = 10_000  # a finer step could not be set, and every step is a candidate setting
_NARROWEST = 1e-6


def read_name(block: Block) -> str | None:
    """The name of a factor, outcome or circumstance: one plain word that is no column of the log."""
    name = block.text("name", required=True)
    if name is None:
        return None
    if not _NAME.match(name):
        plain = re.sub(r"\W+", "_", name).strip("_").lstrip("0123456789_")[:40] or "flux"
        block.fault(
            "name",
            f"the name {quoted(name)} is not one plain word",
            f"use up to 40 letters, digits and _, beginning with a letter, such as {quoted(plain)}",
        )
        return None
    if name.casefold() in LOG_COLUMNS:
        block.fault(
            "name",
            f"the name {quoted(name)} is taken by a column of the log",
            f'rename it, for example "{name}_setting"',
        )
        return None
    return name


def refuse_clashes(blocks: Sequence[Block]) -> None:
    """Fault every factor, outcome or circumstance whose name an earlier one has; capitals make no difference."""
    first: dict[str, Block] = {}
    for block in sorted(blocks, key=lambda block: block.notes.document.line(block.path)):
        name = block.table.get("name")
        if not isinstance(name, str):
            continue
        other = first.setdefault(name.strip().casefold(), block)
        if other is not block:
            line = block.notes.document.line((*other.path, "name"))
            block.fault(
                "name", f"the name {quoted(name)} is given already to {other.called} in line {line}", "rename one"
            )


def read_factor(block: Block) -> Factor | None:
    """One [[factor]], or None where it has faults."""
    name = read_name(block)
    label = block.text("label") or ""
    set_per = cast(SetPer, block.word("set_per", ("firing", "melt", "mould"), "melt"))
    kind = block.word("kind", ("amount", "choice", "ordered"))
    if kind == "amount":
        return _amount(block, name or "", label, set_per)
    if kind is None:
        return None
    block.refuse(("low", "high", "step", "scale", "unit"), kind)
    options = block.words("options", least=2, required=True)
    earlier, gone = block.text("earlier"), block.words("gone", least=0) or ()
    if options is not None:
        _refuse_unknown_options(block, options, earlier, gone)
    if not block.sound or name is None or options is None:
        return None
    listing = Choice if kind == "choice" else Ordered
    return listing(name, options, label, set_per, earlier, gone)


def _refuse_unknown_options(block: Block, options: Sequence[str], earlier: str | None, gone: Sequence[str]) -> None:
    """Fault what is said of an option that the factor has not, and a factor of which every option is gone."""
    for key, said in (("earlier", [] if earlier is None else [earlier]), ("gone", gone)):
        for word in said:
            if word not in options:
                meant = nearest(word, options)
                mend = f"write {quoted(meant)}" if meant else f"write one of {listed(options)}, or add it to them"
                block.fault(key, f'"{key}" says {quoted(word)}, which is none of the options', mend)
    if set(options) <= set(gone):
        block.fault("gone", 'every option is in "gone"', "leave out those that can still be had, or add a new option")


def _amount(block: Block, name: str, label: str, set_per: SetPer) -> Amount | None:
    block.refuse(("options", "gone"), "amount")
    unit = _unit(block)
    low = block.number("low", unit, required=True)
    high = block.number("high", unit, required=True)
    step = block.number("step", unit, difference=True)
    scale = cast(Literal["linear", "log"], block.word("scale", ("linear", "log"), "linear"))
    earlier = block.number("earlier", unit)
    if low is None or high is None:
        return None
    in_unit = f" {unit}" if unit else ""
    if low >= high:
        mend = "swap low and high" if low > high else "make high larger than low, or leave the factor out"
        block.fault("low", f"runs from {low:g} to {high:g}{in_unit}", mend)
    elif high - low < _NARROWEST:
        block.fault("low", f"runs from {low:g} to {high:g}{in_unit}, too narrow to be set", "use a smaller unit")
    elif scale == "log" and low <= 0:
        block.fault("scale", f'scale "log" with low = {low:g}', "make low larger than 0, or leave the scale out")
    elif scale == "log" and earlier is not None and earlier <= 0:
        block.fault("earlier", f'scale "log" with earlier = {earlier:g}', "write more than 0, or leave the scale out")
    elif dimension(unit) == "temperature" and to_si(low, unit) < 0:
        block.fault("low", f"low = {low:g}{in_unit} lies below absolute zero", "correct the number or the unit")
    elif step is not None and step <= 0:
        block.fault("step", f"step = {step:g}", "make the step larger than 0, or leave it out")
    elif step is not None and step > (high - low) * (1 + 1e-9):
        block.fault(
            "step",
            f"step = {step:g} is larger than the whole range of {high - low:g}{in_unit}",
            "make the step smaller",
        )
    elif step is not None and (high - low) / step > _MOST_STEPS:
        block.fault("step", f"step = {step:g} makes more than {_MOST_STEPS} settings", "make the step larger")
    if not block.sound or not name:
        return None
    return Amount(name, low, high, label, unit, step, scale, set_per, earlier)


def _unit(block: Block) -> str:
    """The unit given, or that of the first end that carries one."""
    given = block.text("unit")
    if given is not None:
        return canonical(given)
    for key in ("low", "high"):
        value = block.table.get(key)
        if isinstance(value, str):
            try:
                return parse_quantity(value).unit
            except ValueError:
                continue
    return ""


def read_circumstance(block: Block) -> Circumstance | None:
    """One [[circumstance]], or None where it has faults."""
    name = read_name(block)
    label, unit = block.text("label") or "", canonical(block.text("unit") or "")
    options = block.words("options", least=2) or ()
    if options and unit:
        block.fault("unit", "has both options and a unit", "keep the options for words or the unit for a number")
    return Circumstance(name, label, unit, options) if block.sound and name else None


def read_terms(
    blocks: Sequence[Block],
    factors: Mapping[str, Factor | None],
    outcomes: Mapping[str, Outcome | None],
    has_recipe: bool,
) -> tuple[tuple[Term, ...], dict[str, tuple[Term, ...]]]:
    """All [[term]] blocks without faults: those for every outcome, and by outcome those for one alone.

    Parameters
    ----------
    factors, outcomes : by name, every one that the file names; None for one that has faults of its own.
    has_recipe : whether terms may name quantities of the glass.
    """
    terms: dict[str, list[Term]] = {}
    for block in blocks:
        outcome = block.text("outcome") or ""
        if outcome and outcome not in outcomes:
            meant = nearest(outcome, outcomes)
            mend = f"write {quoted(meant)}" if meant else f"the outcomes are {listed(outcomes)}"
            block.fault("outcome", f"{quoted(outcome)} is no outcome", mend)
        term = _term(block, factors, has_recipe)
        if term is None:
            continue
        if term in terms.get(outcome, []):
            block.fault("use", f"the term {quoted(term)} is given twice", "take one out")
        elif block.sound:
            terms.setdefault(outcome, []).append(term)
    own = {outcome: tuple(found) for outcome, found in terms.items() if outcome}
    return tuple(terms.get("", ())), own


def _term(block: Block, factors: Mapping[str, Factor | None], has_recipe: bool) -> Term | None:
    text = block.text("use", required=True)
    if text is None:
        return None
    try:
        term = parse_term(text)
    except ValueError:
        block.fault(
            "use",
            f"{quoted(text)} is no term",
            'write factor names as "flux", "flux * peak" or "peak ^ 2", with powers that sum to 4 at most',
        )
        return None
    quantities = [name for name in term.factors if name in QUANTITIES and name not in factors]
    if quantities and not has_recipe:
        block.fault("use", f"{quoted(text)} needs a [recipe] to be worked out from", "add one, or take the term out")
        return None
    if quantities and "outcome" not in block:
        mend = 'add a line such as outcome = "poured"'
        block.fault("use", f"{quoted(text)} does not say for which outcome it stands", mend)
    elif quantities and term.order > 1:
        block.fault("use", f"{quoted(text)}: a quantity of the glass stands alone", f"write {quoted(quantities[0])}")
    for name in term.factors:
        if name not in factors and name not in quantities:
            known = [*factors, *(QUANTITIES if has_recipe else ())]
            meant = nearest(name, known)
            mend = f"write {quoted(meant)}" if meant else f"the factors are {listed(factors)}"
            block.fault("use", f"{quoted(text)} names {quoted(name)}, which is no factor", mend)
    for name, power in term.powers:
        factor = factors.get(name)
        if isinstance(factor, Choice) and power > 1:
            block.fault(
                "use",
                f"{quoted(text)} has a power of the choice {quoted(name)}",
                "powers need an amount; leave it out",
            )
        elif isinstance(factor, Ordered) and power >= len(factor.options):
            block.fault(
                "use",
                f"{quoted(text)} needs more than the {len(factor.options)} options of {quoted(name)}",
                "leave the term out or use a lower power",
            )
    return term
