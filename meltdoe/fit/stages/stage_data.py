"""Which melts speak about an outcome, and what they say.

A melt belongs to the data of an outcome where every forerunner was good and the outcome was seen. A melt that never
got that far says nothing about it, neither good nor bad; one that is `later` or `lost` is missing. Rows are put into
an order that depends on what is in them and never on the order of the log, so no estimate can depend on it either.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from meltdoe.fit.stages.phrases import capital, listed, melts_phrase
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series.belief import Circumstance
from meltdoe.series.factor import Amount, Factor, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Unseen

__all__ = ["Nuisance", "StageData", "modelled_factors", "stage_data"]

IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]
GroupKind: TypeAlias = Literal["firing", "melt"]

_MELTS_PER_WORD = 4  # a circumstance in words takes at most one column for so many rows (rule of thumb, no source)


@dataclass(frozen=True, slots=True, eq=False)
class Nuisance:
    """Circumstances as centred columns: zero is their average over the rows, where predictions are made.

    columns : (n_rows, n_columns). names : one a column.
    """

    columns: FloatArray
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class StageData:
    """The rows of one outcome.

    Attributes
    ----------
    rows : (n_rows,) positions in ``log.entries``, in an order fixed by the contents of the rows.
    melts : number of the melt behind each row.
    raw : (n_rows, n_factors) actual raw settings.
    y : (n_rows,) pass: 1 good, 0 bad; grade: position of the grade, 0 the best; measured: the value.
    good : (n_rows,) whether the row was good; all True for an outcome that is only described.
    censored : (n_rows,) -1 where a measurement stands on its smallest possible value, +1 on its largest, else 0.
    groups : (n_rows,) whole numbers 0, 1, ... of the firing (or of the melt, where castings of one melt are rows), or
        None where no group holds more than one row.
    missing : how many rows reached the outcome and are later or lost.
    notes : sentences on rows that were left out.
    """

    outcome: Outcome
    rows: tuple[int, ...]
    melts: tuple[int, ...]
    raw: FloatArray
    y: FloatArray
    good: BoolArray
    censored: IntArray
    groups: IntArray | None
    group_kind: GroupKind
    nuisance: Nuisance
    missing: Mapping[Unseen, int]
    notes: tuple[str, ...]

    @property
    def n_seen(self) -> int:
        return len(self.rows)

    @property
    def n_good(self) -> int:
        return int(self.good.sum())


def modelled_factors(series: MeltSeries, outcome: Outcome) -> tuple[Factor, ...]:
    """The factors that can act on an outcome: what is seen for a whole melt is older than its moulds."""
    if series.moulds_per_melt > 1 and outcome.seen_per == "melt":
        return tuple(factor for factor in series.factors if factor.set_per != "mould")
    return series.factors


def stage_data(series: MeltSeries, log: Log, outcome: Outcome) -> StageData:
    """Gather the rows of one outcome.

    Parameters
    ----------
    log : its entries may stand in any order.

    Returns
    -------
    StageData; possibly without any row.
    """
    raw = log.raw
    usable = _usable(series, outcome, raw)
    chain = series.forerunners(outcome.name)
    kept: list[int] = []
    missing: Counter[Unseen] = Counter()
    left_out: dict[str, list[int]] = {}

    def leave_out(why: str, entry: Entry) -> None:
        left_out.setdefault(why, []).append(entry.melt)

    for i, entry in enumerate(log.entries):
        seen = entry.seen.get(outcome.name, Unseen.NOT_REACHED)
        before = [(f.name, f.is_good(entry.seen.get(f.name, Unseen.NOT_REACHED))) for f in chain if f.counts]
        stopped = next((name for name, good in before if good is not True), None)
        if isinstance(seen, Unseen):
            if seen is not Unseen.NOT_REACHED:
                missing[seen] += 1
            elif stopped is None:
                leave_out(f"{outcome.name} is blank though everything before it was good", entry)
        elif stopped is not None:
            leave_out(f"{outcome.name} was noted though {stopped} was not seen to be good", entry)
        elif not usable[i]:
            leave_out(f"a setting needed for {outcome.name} is not above 0, and its scale is log", entry)
        elif not math.isfinite(_number(outcome, seen)):
            leave_out(f"{outcome.name} is no finite number", entry)
        else:
            kept.append(i)
    kept.sort(key=lambda i: _contents(series, outcome, log.entries[i], raw[i]))
    if outcome.seen_per == "melt" and series.moulds_per_melt > 1:
        kept = _first_casting(kept, log)

    entries = [log.entries[i] for i in kept]
    values = [entry.seen[outcome.name] for entry in entries]
    nuisance, nuisance_notes = _nuisance(series.nuisances, entries)
    groups, kind = _groups(series, outcome, entries)
    notes = [f"{melts_phrase(sorted(set(melts)))} left out: {why}." for why, melts in left_out.items()]
    notes += _unknown_notes(series, outcome, entries)
    notes += _charge_notes(log, {entry.melt for entry in entries})
    if missing:
        parts = [f"{count} {state.value}" for state, count in sorted(missing.items(), key=lambda item: item[0].value)]
        notes.append(f"Not yet seen or never seen: {listed(parts)}.")
    y = np.array([_number(outcome, value) for value in values], dtype=float)
    return StageData(
        outcome=outcome,
        rows=tuple(kept),
        melts=tuple(entry.melt for entry in entries),
        raw=raw[kept].reshape(-1, len(series.factors)),
        y=y,
        good=np.array([outcome.is_good(value) is not False for value in values], dtype=bool),
        censored=_censored(outcome, y),
        groups=groups,
        group_kind=kind,
        nuisance=nuisance,
        missing=dict(missing),
        notes=(*notes, *nuisance_notes),
    )


def _charge_notes(log: Log, melts: set[int]) -> list[str]:
    """Which melts count otherwise than written, or could not, for what really went into the crucible."""
    notes = []
    changed = sorted(melts.intersection(log.actual.changed))
    if changed:
        notes.append(
            f"The shares of {melts_phrase(changed)} count as they really were, with what was weighed and what remelted "
            "glass brought along."
        )
    notes += [
        f"Melt {other.melt} counts as {log.series.factor(other.factor).title} {other.written}, as written, though most "
        f"of it was {other.really}: correct the log if that is what acted."
        for other in log.actual.others
        if other.melt in melts
    ]
    unread = sorted(melts.intersection(log.actual.unread))
    if unread:
        notes.append(
            f"The shares of {melts_phrase(unread)} count as written: what went into the crucible is not known."
        )
    return notes


def _usable(series: MeltSeries, outcome: Outcome, raw: FloatArray) -> BoolArray:
    """Rows whose settings can be coded: above zero or unknown where the scale is a logarithm."""
    usable = np.ones(len(raw), dtype=bool)
    for factor in modelled_factors(series, outcome):
        if isinstance(factor, Amount) and factor.scale == "log":
            usable &= ~(raw[:, series.factor_names.index(factor.name)] <= 0)
    return usable


def _unknown_notes(series: MeltSeries, outcome: Outcome, entries: Sequence[Entry]) -> list[str]:
    """Which melts count with a factor at its average, since nobody knows how it was set."""
    notes = []
    for factor in modelled_factors(series, outcome):
        melts = sorted({entry.melt for entry in entries if factor.name not in entry.settings})
        if melts:
            count, say = ("they count", "say") if len(melts) > 1 else ("it counts", "says")
            notes.append(
                f"{capital(factor.name)} of {melts_phrase(melts)} is unknown: {count} with its average, and {say} "
                f"nothing of what {factor.name} does."
            )
    return notes


def _contents(series: MeltSeries, outcome: Outcome, entry: Entry, raw: FloatArray) -> tuple[object, ...]:
    """Sort key made of what a row says; its numbers come last and only settle ties."""
    circumstances = tuple(str(entry.circumstances.get(c.name, "")) for c in series.circumstances)
    settings = tuple(float(value) if np.isfinite(value) else float("inf") for value in raw)
    return (settings, _number(outcome, entry.seen[outcome.name]), circumstances, entry.firing, entry.melt, entry.mould)


def _first_casting(kept: Sequence[int], log: Log) -> list[int]:
    """One row a melt: what is seen once for the melt is not seen again with each mould."""
    first: dict[int, int] = {}
    for i in kept:
        melt = log.entries[i].melt
        if melt not in first or log.entries[i].mould < log.entries[first[melt]].mould:
            first[melt] = i
    chosen = set(first.values())
    return [i for i in kept if i in chosen]


def _number(outcome: Outcome, value: object) -> float:
    if outcome.kind == "pass":
        return 1.0 if value else 0.0
    if outcome.kind == "grade":
        return float(outcome.grades.index(str(value)))
    return float(value)  # type: ignore[arg-type]


def _censored(outcome: Outcome, y: FloatArray) -> IntArray:
    if outcome.kind != "measured" or outcome.bounds is None:
        return np.zeros(len(y), dtype=np.int64)
    low, high = outcome.bounds
    return np.asarray((y >= high).astype(np.int64) - (y <= low).astype(np.int64))


def _groups(series: MeltSeries, outcome: Outcome, entries: Sequence[Entry]) -> tuple[IntArray | None, GroupKind]:
    by_melt = series.moulds_per_melt > 1 and outcome.seen_per == "mould"
    labels = [entry.melt if by_melt else entry.firing for entry in entries]
    kind: GroupKind = "melt" if by_melt and len(set(labels)) < len(labels) else "firing"
    if by_melt and kind == "firing":
        labels = [entry.firing for entry in entries]
    if len(set(labels)) == len(labels):
        return None, kind
    first_seen = {label: position for position, label in enumerate(dict.fromkeys(labels))}
    return np.array([first_seen[label] for label in labels], dtype=np.int64), kind


def _nuisance(circumstances: Sequence[Circumstance], entries: Sequence[Entry]) -> tuple[Nuisance, list[str]]:
    """Numbers standardised, words as centred indicator columns; what was not noted counts as average."""
    columns: list[FloatArray] = []
    names: list[str] = []
    notes: list[str] = []
    for circumstance in circumstances:
        values = [entry.circumstances.get(circumstance.name) for entry in entries]
        given = [value for value in values if value is not None and value != ""]
        if len({str(value) for value in given}) < 2:
            continue
        if all(isinstance(value, (int, float)) for value in given) and not circumstance.options:
            numbers = np.array([float(v) if isinstance(v, (int, float)) else np.nan for v in values])
            known = np.isfinite(numbers)
            spread = float(numbers[known].std()) if known.any() else 0.0
            if spread > 0:
                columns.append(np.where(known, (numbers - numbers[known].mean()) / spread, 0.0))
                names.append(circumstance.name)
            continue
        words = sorted({str(value) for value in given})
        if (len(words) - 1) * _MELTS_PER_WORD > len(entries):
            needed = (len(words) - 1) * _MELTS_PER_WORD
            notes.append(
                f"{circumstance.name} is not allowed for: its {len(words)} words need {needed} melts, and there are "
                f"{len(entries)}."
            )
            continue
        for word in words[1:]:
            noted = np.array([value is not None and value != "" for value in values])
            is_word = np.array([str(value) == word for value in values], dtype=float)
            columns.append(np.where(noted, is_word - is_word[noted].mean(), 0.0))
            names.append(f"{circumstance.name} {word}")
    table = np.column_stack(columns) if columns else np.zeros((len(entries), 0))
    return Nuisance(table, tuple(names)), notes
