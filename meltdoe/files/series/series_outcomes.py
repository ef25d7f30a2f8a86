"""Reading [[outcome]], [[belief]] and [cost.loss]: what is seen, what is thought of it beforehand, what it costs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, cast, get_args

from meltdoe.files.quoting import listed, quoted
from meltdoe.files.series.series_block import Block
from meltdoe.files.series.series_factors import read_name
from meltdoe.files.series.series_keys import nearest
from meltdoe.series.belief import Belief
from meltdoe.series.factor import Amount, Factor, Setting
from meltdoe.series.outcome import GoodRange, Outcome, OutcomeKind, Unseen, parse_good_range
from meltdoe.units import canonical

__all__ = ["read_beliefs", "read_loss", "read_outcome", "refuse_broken_chain"]

_EXTRA = ("grades", "unit", "bounds", "good")
_GOES_WITH = {"pass": (), "grade": ("grades", "good"), "measured": ("unit", "bounds", "good")}


def read_outcome(block: Block) -> Outcome | None:
    """One [[outcome]], or None where it has faults; what it comes after is checked by `refuse_broken_chain`."""
    name = read_name(block)
    question = block.text("question") or ""
    after = block.text("after")
    seen_per = cast(Literal["melt", "mould"], block.word("seen_per", ("melt", "mould"), "melt"))
    kind = cast(OutcomeKind | None, block.word("kind", get_args(OutcomeKind)))
    if kind is None:
        return None
    unit, bounds = "", None
    grades: tuple[str, ...] = ()
    good: GoodRange | tuple[str, ...] | None = None
    if kind == "pass" and "good" in block:
        block.fault("good", '"good" does not go with kind "pass", which is good when it is yes', "take the line out")
    block.refuse([key for key in _EXTRA if key not in _GOES_WITH[kind] and (kind, key) != ("pass", "good")], kind)
    if kind == "grade":
        grades = _grades(block)
        good = _good_grades(block, grades)
    elif kind == "measured":
        unit = canonical(block.text("unit") or "")
        bounds = _bounds(block, unit)
        good = _good_range(block, unit, bounds)
    if not block.sound or name is None:
        return None
    return Outcome(name, kind, question, unit, grades, bounds, after, good, seen_per)


def _grades(block: Block) -> tuple[str, ...]:
    grades = block.words("grades", least=2, required=True) or ()
    for grade in grades:
        if grade.casefold() in (Unseen.LATER.value, Unseen.LOST.value):
            block.fault(
                "grades", f"the grade {quoted(grade)} is what the log writes for an outcome not seen", "rename it"
            )
            return ()
    return grades


def _good_grades(block: Block, grades: tuple[str, ...]) -> tuple[str, ...] | None:
    if isinstance(block.table.get("good"), str):
        block.fault(
            "good", '"good" is one text where a list of grades belongs', 'write a list, such as good = ["none"]'
        )
        return None
    good = block.words("good", least=1)
    if good is None or not grades:
        return None
    strange = [grade for grade in good if grade not in grades]
    if strange:
        meant = nearest(strange[0], grades)
        mend = f"write {quoted(meant)}" if meant else f"the grades are {listed(grades)}"
        block.fault("good", f'"good" holds {quoted(strange[0])}, which is no grade', mend)
        return None
    if len(good) == len(grades):
        block.fault("good", "every grade is good, so there is nothing to learn", "leave at least the last grade out")
        return None
    best = grades[: len(good)]
    if set(best) != set(good):
        skipped = next(grade for grade in best if grade not in good)
        block.fault(
            "good",
            f'"good" leaves out {quoted(skipped)}, which stands before a good grade',
            "list the grades best first, and all good ones from the first on",
        )
        return None
    return best


def _bounds(block: Block, unit: str) -> tuple[float, float] | None:
    value = block.table.get("bounds")
    if value is None:
        return None
    mend = "write the smallest and the largest value that can be seen, such as bounds = [0, 100]"
    if not isinstance(value, list) or len(value) != 2:
        block.fault("bounds", '"bounds" is not a list of two numbers', mend)
        return None
    ends: list[float] = []
    for member, open_end in zip(value, (-math.inf, math.inf), strict=True):
        end = open_end if member == open_end else block.as_number("bounds", member, unit)
        if end is None:
            return None
        ends.append(end)
    low, high = ends
    if low >= high:
        block.fault("bounds", f"bounds run from {low:g} to {high:g}", mend)
        return None
    if math.isinf(low) and math.isinf(high):
        block.fault("bounds", "bounds leave both ends open", "leave the line out")
        return None
    return low, high


def _good_range(block: Block, unit: str, bounds: tuple[float, float] | None) -> GoodRange | None:
    value = block.table.get("good")
    if isinstance(value, (list, int, float)):
        block.fault("good", '"good" is no text with a range', 'write "at least 95", "at most 3" or "between 10 and 20"')
        return None
    text = block.text("good")
    if text is None:
        return None
    try:
        good = parse_good_range(text, unit)
    except ValueError as error:
        block.fault("good", f'"good": {error}', 'write "at least 95", "at most 3" or "between 10 and 20"')
        return None
    if bounds is None:
        return good
    ends = [end for end in (good.low, good.high) if math.isfinite(end)]
    if any(not bounds[0] <= end <= bounds[1] for end in ends):
        block.fault(
            "good",
            f"good is {good}, but what is seen lies between {bounds[0]:g} and {bounds[1]:g}",
            "correct the range or the bounds",
        )
    elif good.low <= bounds[0] and good.high >= bounds[1]:
        block.fault("good", f"good is {good}, which is everything within the bounds", "narrow the range")
    else:
        return good
    return None


def refuse_broken_chain(blocks: Sequence[Block], outcomes: Sequence[Outcome | None]) -> None:
    """Fault every `after` that names no earlier outcome with a meaning of good."""
    names = [block.table.get("name") for block in blocks]
    known = [name for name in names if isinstance(name, str)]
    for i, block in enumerate(blocks):
        after = block.table.get("after")
        if not isinstance(after, str):
            continue
        if after == names[i]:
            block.fault("after", "comes after itself", "name an earlier outcome or take the line out")
        elif after in names[i + 1 :] and after not in names[:i]:
            block.fault(
                "after", f"comes after {quoted(after)}, which stands below it", "put outcomes in the order of work"
            )
        elif after not in names:
            _refuse_unknown_outcome(block, "after", after, known)
        else:
            _refuse_bad_forerunner(block, outcomes[i], outcomes[names.index(after)])


def _refuse_bad_forerunner(block: Block, outcome: Outcome | None, forerunner: Outcome | None) -> None:
    if forerunner is None:
        return
    if not forerunner.counts:
        block.fault(
            "after",
            f'comes after "{forerunner.name}", which does not say what is good',
            f'add a line good = ... to outcome "{forerunner.name}"',
        )
    elif outcome is not None and forerunner.seen_per == "mould" and outcome.seen_per == "melt":
        block.fault(
            "after",
            f'is seen once per melt but comes after "{forerunner.name}", which is seen per mould',
            'write seen_per = "mould" here too',
        )


def _refuse_unknown_outcome(block: Block, key: str, name: str, known: Iterable[str]) -> None:
    words = list(known)
    meant = nearest(name, words)
    mend = f"write {quoted(meant)}" if meant else f"the outcomes are {listed(words)}"
    block.fault(key, f"{quoted(name)} is no outcome", mend)


def _refuse_without_good(block: Block, key: str, outcome: Outcome | None) -> None:
    if outcome is not None and not outcome.counts:
        block.fault(
            key,
            f'outcome "{outcome.name}" does not say what is good',
            f'add a line good = ... to outcome "{outcome.name}"',
        )


def read_loss(cost: Block, outcomes: Mapping[str, Outcome | None]) -> dict[str, float]:
    """[cost.loss]: what a bad outcome costs, by outcome name."""
    loss: dict[str, float] = {}
    block = cost.table_of_names("loss")
    for name in block.table if block else ():
        assert block is not None
        amount = block.between(name, 0, ends=True)
        if name not in outcomes:
            _refuse_unknown_outcome(block, name, name, outcomes)
        else:
            _refuse_without_good(block, name, outcomes[name])
        if amount is not None:
            loss[name] = amount
    return loss


def read_beliefs(
    blocks: Sequence[Block], factors: Mapping[str, Factor | None], outcomes: Mapping[str, Outcome | None]
) -> tuple[Belief, ...]:
    """All [[belief]] blocks without faults; None stands for a factor or outcome that has faults of its own."""
    beliefs = []
    for block in blocks:
        name = block.text("outcome", required=True)
        if name is not None and name not in outcomes:
            _refuse_unknown_outcome(block, "outcome", name, outcomes)
        elif name is not None:
            _refuse_without_good(block, "outcome", outcomes[name])
        chance = block.between("chance", 0, 1, required=True)
        worth = block.between("worth", 0)
        settings = _settings(block, factors)
        if block.sound and name is not None and chance is not None:
            beliefs.append(Belief(settings, name, chance, 1.0 if worth is None else worth))
    return tuple(beliefs)


def _settings(block: Block, factors: Mapping[str, Factor | None]) -> dict[str, Setting]:
    settings: dict[str, Setting] = {}
    if "at" not in block:
        block.missing("at")
        return settings
    at = block.table_of_names("at")
    for name in at.table if at else ():
        assert at is not None
        if name not in factors:
            meant = nearest(name, factors)
            mend = f"write {quoted(meant)}" if meant else f"the factors are {listed(factors)}"
            at.fault(name, f"{quoted(name)} is no factor", mend)
            continue
        factor = factors[name]
        if isinstance(factor, Amount):
            number = at.number(name, factor.unit)
            if number is not None and not factor.low <= number <= factor.high:
                span = f"{factor.low:g} to {factor.show(factor.high)}"
                at.fault(
                    name,
                    f"{name} = {factor.show(number)} lies outside the range {span}",
                    "choose a setting within the range",
                )
            elif number is not None:
                settings[name] = number
        elif factor is not None:
            option = at.word(name, factor.options, default="")
            if option:
                settings[name] = option
    if at is None or not at.sound:
        block.sound = False
    return settings
