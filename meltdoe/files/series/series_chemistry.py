"""Reading [chemistry], and adding to a series what chemistry has to say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from meltdoe.charge.chemistry_prior import ChemistryFault, with_chemistry
from meltdoe.files.quoting import listed, quoted
from meltdoe.files.series.series_block import Block
from meltdoe.files.series.series_keys import nearest
from meltdoe.series.chemistry import QUANTITIES, Chemistry
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome

__all__ = ["add_chemistry", "read_chemistry", "refuse_names_of_quantities"]

_SPEAKS = ("pour", "boil_over", "crack")
_KEY_OF = {"viscosity": "pour", "gas": "boil_over", "expansion": "crack", "ceiling": "stiffest"}
_MOST_WORTH = 10.0  # melts: more would silence any series of a workshop
_STIFFEST = (0.0, 12.0)  # log10 Pa s: a freely running liquid to a glass that is rigid for hours


def read_chemistry(block: Block | None, outcomes: Mapping[str, Outcome | None], has_recipe: bool) -> Chemistry | None:
    """[chemistry], or None where there is none or it has faults.

    Parameters
    ----------
    outcomes : by name, every outcome that the file names; None for one that has faults of its own.
    has_recipe : whether the file holds a [recipe], sound or not.
    """
    if block is None:
        return None
    named = {key: _outcome(block, key, outcomes) for key in _SPEAKS}
    worth = block.between("worth", 0.0, _MOST_WORTH)
    trust = block.between("trust", 0.0, 1.0)
    stiffest = block.between("stiffest", *_STIFFEST)
    use = block.table.get("use", True)
    if not isinstance(use, bool):
        block.fault("use", f'"use" is {quoted(use)}', "write true or false")
    if not has_recipe:
        block.fault(None, "there is no [recipe] that the glass could be worked out from", "add one, or take this out")
    elif not any(key in block for key in (*_SPEAKS, "stiffest")):
        block.fault(None, "names no outcome to speak about", f'add a line such as pour = "poured"; {listed(_SPEAKS)}')
    if not block.sound:
        return None
    return Chemistry(
        named["pour"],
        named["boil_over"],
        named["crack"],
        worth=Chemistry().worth if worth is None else worth,
        trust=Chemistry().trust if trust is None else trust,
        use=bool(use),
        stiffest=stiffest,
    )


def _outcome(block: Block, key: str, outcomes: Mapping[str, Outcome | None]) -> str:
    name = block.text(key) or ""
    if not name:
        return ""
    if name not in outcomes:
        meant = nearest(name, outcomes)
        mend = f"write {quoted(meant)}" if meant else f"the outcomes are {listed(outcomes)}"
        block.fault(key, f"{quoted(name)} is no outcome", mend)
        return ""
    outcome = outcomes[name]
    if outcome is not None and not outcome.counts:
        mend = f'add a line good = ... to outcome "{name}"'
        block.fault(key, f'outcome "{name}" does not say what is good', mend)
        return ""
    return name


def refuse_names_of_quantities(blocks: Sequence[Block]) -> None:
    """Fault factors of a series with a recipe that bear the name of a quantity of the glass."""
    for block in blocks:
        if block.table.get("name") in QUANTITIES:
            name = str(block.table["name"])
            what = f"the name {quoted(name)} stands for what the recipe gives"
            block.fault("name", what, f'rename it, for example "{name}_setting"')


def add_chemistry(root: Block, chemistry: Block | None, terms: Sequence[Block], series: MeltSeries) -> MeltSeries:
    """The series with what chemistry says; a fault is noted at the line that asked for it."""
    try:
        return with_chemistry(series)
    except ChemistryFault as fault:
        if fault.in_term:
            place, key = next(block for block in terms if block.table.get("use") == fault.quantity), "use"
            place.fault(key, f"no {fault.quantity}: {fault}", "take the term out")
            return series
        place, key = chemistry or root, _KEY_OF[fault.quantity]
        if fault.quantity == "ceiling":
            what, mend = str(fault), "correct the ranges or the recipe, or raise stiffest"
        else:
            what, mend = f"no {fault.quantity}: {fault}", "take the line out, or write use = false"
        place.fault(key if key in place else None, what, mend)
        return series
