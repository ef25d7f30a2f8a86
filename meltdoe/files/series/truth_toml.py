"""A truth file to `StatedTruth`: how the user supposes the glass to behave, for a rehearsal.

::

    [[outcome]]
    name = "contained"
    at = { peak = 1180, flux = 18 }        # factors left out stand in the middle of their range
    chance = 0.9                           # of being good there
    log_odds = { flux = -2.0, packing = { "edge only" = 0.5 } }
    chances = { peak = [0.97, 0.7] }       # at the low and the high end, the other factors as in `at`
    together = { "flux * peak" = -1.0 }
    firing_sd = 0.3                        # log odds that melts of one firing share
    spread = 4                             # of a measured outcome: its unit per log odds

`log_odds` holds what a factor adds from its low to its high end, or what each option adds (0 where left out);
`chances` what the chance is at the ends or with each option. Every outcome that counts must be there.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.files.disk.own_folder import read_ordinary
from meltdoe.files.quoting import listed, quoted
from meltdoe.files.series.series_block import Block, Notes
from meltdoe.files.series.series_keys import nearest
from meltdoe.files.series.toml_lines import KeyPath, TomlDocument, parse_toml
from meltdoe.rehearsal.stated_truth import StatedOutcome, StatedTruth
from meltdoe.series.factor import Amount, Choice, Factor
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome
from meltdoe.series.terms import parse_term

__all__ = ["read_truth"]

_KEYS = ("name", "at", "chance", "log_odds", "chances", "together", "firing_sd", "spread")
_TOP = ("title", "outcome")
_LARGEST_FILE = 1_000_000  # bytes
_LARGEST_LOG_ODDS = 50.0
_MOST_OUTCOMES = 20

Points = tuple[tuple[float, float], ...]


class _TruthNotes(Notes):
    """Problems of a truth file."""

    def __init__(self, document: TomlDocument, file: str) -> None:
        super().__init__(document)
        self.file = file

    def add(self, path: KeyPath, what: str, mend: str) -> None:
        self._problems.append(Problem(self.file, self.document.line(path), what, mend))


def read_truth(path: Path, series: MeltSeries) -> StatedTruth:
    """Read a truth file for a series.

    Raises
    ------
    ProblemsFound
        With every problem of the file, in line order.
    """
    data = read_ordinary(path, _LARGEST_FILE)
    if data is None:
        raise ProblemsFound.single(path.name, None, f'there is no file "{path}"', "check the name of the truth file")
    try:
        text = unicodedata.normalize("NFC", data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        mend = "save it from the editor with the encoding UTF-8"
        raise ProblemsFound.single(path.name, line, "holds a character that is not written in UTF-8", mend) from None
    document = parse_toml(text, path.name)
    notes = _TruthNotes(document, path.name)
    top = Block(notes, (), document.data, None, "")
    _refuse_other_keys(top, _TOP)
    top.text("title")
    outcomes = _outcomes(top, series)
    if notes.problems:
        raise ProblemsFound(notes.problems)
    return StatedTruth(series, outcomes)


def _outcomes(top: Block, series: MeltSeries) -> tuple[StatedOutcome, ...]:
    counting = {outcome.name: outcome for outcome in series.outcomes if outcome.counts}
    value = top.table.get("outcome", [])
    if not isinstance(value, list) or not all(isinstance(member, dict) for member in value):
        top.fault("outcome", '"outcome" is no list of blocks', "write [[outcome]] with two brackets on each side")
        return ()
    found: dict[str, StatedOutcome | None] = {}
    for i, table in enumerate(value[:_MOST_OUTCOMES]):
        block = Block(top.notes, ("outcome", i), table, None, f"outcome {i + 1}")
        name = block.word("name", tuple(counting))
        if name is None:
            continue
        if name in found:
            block.fault("name", f"{quoted(name)} has a block already", "keep one of the two")
        block.called = f"outcome {quoted(name)}"
        found[name] = _outcome(block, series, counting[name])
    for name in counting:
        if name not in found and not top.notes.problems:
            top.fault(None, f"nothing is said of the outcome {quoted(name)}", "add an [[outcome]] block for it")
    return tuple(outcome for outcome in found.values() if outcome is not None)


def _outcome(block: Block, series: MeltSeries, outcome: Outcome) -> StatedOutcome | None:
    _refuse_other_keys(block, _KEYS)
    chance = block.between("chance", 0, 1, required=True)
    at = _setting(block, series)
    firing_sd = block.between("firing_sd", 0, 10, ends=True)
    spread = _spread(block, outcome)
    _refuse_scattered_grades(block, outcome)
    effects: dict[str, Points] = {}
    if chance is not None and at is not None:
        base = _logit(chance)
        for key, read in (("log_odds", _from_log_odds), ("chances", _from_chances)):
            table = block.table_of_names(key)
            for name in table.table if table is not None else ():
                assert table is not None
                factor = _factor(table, name, series)
                if factor is None:
                    continue
                if name in effects:
                    table.fault(name, f"{name} stands under log_odds as well", "keep one of the two")
                    continue
                position = at[series.factor_names.index(name)]
                points = read(table, factor, base, position)
                if points is not None:
                    effects[name] = points
            block.sound &= table is None or table.sound
    together = _together(block, series)
    if not block.sound or chance is None or at is None:
        return None
    return StatedOutcome(outcome.name, _logit(chance), at, effects, together, firing_sd or 0.0, spread)


def _refuse_other_keys(block: Block, known: tuple[str, ...]) -> None:
    for key in block.table:
        if key not in known:
            meant = nearest(key, known)
            mend = f"write {quoted(meant)}" if meant else f"the keys here are {listed(known)}"
            block.fault(key, f"the key {quoted(key)} is not known", mend)


def _refuse_scattered_grades(block: Block, outcome: Outcome) -> None:
    if outcome.kind == "grade" and isinstance(outcome.good, tuple):
        good = [grade in outcome.good for grade in outcome.grades]
        if good != sorted(good, reverse=True):
            what = "its good grades are not the first ones, so that a chance does not say which grade is seen"
            block.fault("name", what, "rehearse without a truth file")


def _spread(block: Block, outcome: Outcome) -> float:
    if outcome.kind != "measured":
        block.refuse(("spread",), outcome.kind)
        return 1.0
    said = block.between("spread", 0)
    if said is not None or "spread" in block:
        return said or 1.0
    ends = [end for end in outcome.bounds or () if math.isfinite(end)]
    if len(ends) == 2:
        return (ends[1] - ends[0]) / 20.0  # this project's choice: a melt scatters by about a tenth of the bounds
    if isinstance(outcome.good, GoodRange) and math.isfinite(outcome.good.low) and math.isfinite(outcome.good.high):
        return (outcome.good.high - outcome.good.low) / 8.0
    block.fault(None, '"spread" is missing', "add a line such as spread = 4, in the outcome's unit")
    return 1.0


def _factor(table: Block, name: str, series: MeltSeries) -> Factor | None:
    if name in series.factor_names:
        return series.factor(name)
    meant = nearest(name, series.factor_names)
    mend = f"write {quoted(meant)}" if meant else f"the factors are {listed(series.factor_names)}"
    table.fault(name, f"{quoted(name)} is no factor", mend)
    return None


def _setting(block: Block, series: MeltSeries) -> tuple[float, ...] | None:
    """The raw row of `at`, or None where it has a fault."""
    row = [float(value) for value in series.coding.centre()]
    at = block.table_of_names("at")
    for name in at.table if at is not None else ():
        assert at is not None
        factor = _factor(at, name, series)
        if factor is None:
            continue
        place = series.factor_names.index(name)
        if isinstance(factor, Amount):
            number = at.number(name, factor.unit)
            if number is not None and not factor.low <= number <= factor.high:
                span = f"{factor.low:g} to {factor.show(factor.high)}"
                at.fault(name, f"{name} = {factor.show(number)} lies outside the range {span}", "keep to the range")
            elif number is not None:
                row[place] = number
        else:
            option = at.word(name, factor.options, default="")
            row[place] = float(factor.options.index(option)) if option else row[place]
    if "at" in block and (at is None or not at.sound):
        block.sound = False
        return None
    return tuple(row)


def _from_log_odds(table: Block, factor: Factor, base: float, position: float) -> Points | None:
    """A line from the low to the high end, or a value per option."""
    del base, position
    if not isinstance(factor, Choice):
        change = _log_odds(table, factor.name)
        return None if change is None else ((-1.0, 0.0), (1.0, change))
    options = _options(table, factor)
    if options is None:
        return None
    values = [_log_odds(options, option) if option in options else 0.0 for option in factor.options]
    table.sound &= options.sound
    return tuple((float(i), value) for i, value in enumerate(values) if value is not None)


def _from_chances(table: Block, factor: Factor, base: float, position: float) -> Points | None:
    """Lines in log odds from each end to the stated setting, or a value per option."""
    if isinstance(factor, Choice):
        options = _options(table, factor)
        if options is None:
            return None
        points = {int(position): base}
        for option in options.table:
            value = _chance(options, option, options.table[option])
            if value is None:
                continue
            place = factor.options.index(option)
            if place == int(position) and not math.isclose(_logit(value), base, abs_tol=0.01):
                _refuse_contradiction(options, option, value, base)
            points.setdefault(place, _logit(value))
        missing = [option for i, option in enumerate(factor.options) if i not in points]
        if options.sound and missing:
            options.fault(None, f"nothing is said of {listed(missing)}", "give a chance for every option")
        table.sound &= options.sound
        return tuple((float(place), value) for place, value in points.items())
    pair = table.table[factor.name]
    if not isinstance(pair, list) or len(pair) != 2:
        mend = f"write two chances, at the low and the high end, such as {factor.name} = [0.4, 0.8]"
        table.fault(factor.name, f"{quoted(factor.name)} holds no pair of chances", mend)
        return None
    ends = [_chance(table, factor.name, member) for member in pair]
    if ends[0] is None or ends[1] is None:
        return None
    here = float(factor.coded(np.array([position]))[0])
    line = {-1.0: _logit(ends[0]), 1.0: _logit(ends[1])}
    at_end = round(here, 9)
    if at_end in line and not math.isclose(line[at_end], base, abs_tol=0.01):
        _refuse_contradiction(table, factor.name, ends[0 if at_end < 0 else 1] or 0.0, base)
    line.setdefault(at_end, base)
    return tuple(line.items())


def _refuse_contradiction(table: Block, key: str, value: float, base: float) -> None:
    chance = 1.0 / (1.0 + math.exp(-base))
    what = f"{quoted(key)} says {value:g} at the setting `at`, where the chance is {chance:g}"
    table.fault(key, what, "make the two agree")


def _options(table: Block, factor: Choice) -> Block | None:
    """The table of options of a choice."""
    value = table.table[factor.name]
    if not isinstance(value, Mapping):
        such_as = f"{factor.name} = {{ {quoted(factor.options[-1])} = 0.5 }}"
        table.fault(factor.name, f"{quoted(factor.name)} is a choice", f"write a number per option, such as {such_as}")
        return None
    options = Block(table.notes, (*table.path, factor.name), value, None, f"{table.called}: {factor.name}")
    for option in value:
        if option not in factor.options:
            meant = nearest(option, factor.options)
            mend = f"write {quoted(meant)}" if meant else f"the options are {listed(factor.options)}"
            options.fault(option, f"{quoted(option)} is no option of {factor.name}", mend)
    table.sound &= options.sound
    return options if options.sound else None


def _log_odds(table: Block, key: str) -> float | None:
    number = table.as_number(key, table.table[key], None)
    if number is not None and abs(number) > _LARGEST_LOG_ODDS:
        table.fault(key, f"{quoted(key)} is {number:g}", f"log odds lie within {_LARGEST_LOG_ODDS:g} of 0")
        return None
    return number


def _chance(table: Block, key: str, value: object) -> float | None:
    number = table.as_number(key, value, None)
    if number is not None and not 0.0 < number < 1.0:
        table.fault(key, f"{quoted(key)} holds {number:g}", "write chances above 0 and below 1")
        return None
    return number


def _together(block: Block, series: MeltSeries) -> dict[tuple[str, str], float]:
    table = block.table_of_names("together")
    found: dict[tuple[str, str], float] = {}
    for text in table.table if table is not None else ():
        assert table is not None
        number = _log_odds(table, text)
        try:
            names = parse_term(text).factors
        except ValueError:
            names = ()
        wrong = [name for name in names if name not in series.factor_names]
        choices = [name for name in names if name not in wrong and isinstance(series.factor(name), Choice)]
        if len(names) != 2:
            table.fault(text, f"{quoted(text)} is no product of two factors", 'write it as "flux * peak"')
        elif wrong or choices:
            what = f"{quoted((wrong or choices)[0])} is {'no factor' if wrong else 'a choice'}"
            table.fault(text, what, "name two amounts or ordered factors")
        elif number is not None:
            found[names[0], names[1]] = number
    block.sound &= table is None or table.sound
    return found


def _logit(chance: float) -> float:
    return math.log(chance / (1.0 - chance))
