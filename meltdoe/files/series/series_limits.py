"""Reading [[limit]], the kiln's ceiling as a limit, and the search for a setting that keeps all limits.

The search looks at every setting where there are few, else at corners and random ones; where none of these keeps the
limits it goes downhill, one factor at a time, on the sum of squared violations. A region so thin that the search misses
it is reported as empty.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from meltdoe.files.quoting import listed, quoted
from meltdoe.files.series.series_block import Block, Notes
from meltdoe.files.series.series_keys import nearest
from meltdoe.files.series.toml_lines import KeyPath
from meltdoe.series.chemistry import Ceiling, Columns
from meltdoe.series.factor import Amount, Choice, Factor, FloatArray, Ordered
from meltdoe.series.limit import Limit
from meltdoe.series.limit_parser import LimitSyntax, parse_comparison
from meltdoe.units import Quantity, dimension

__all__ = ["can_be_kept", "ceiling_limits", "gone_limits", "read_limits", "refuse_empty_region", "refuse_too_hot"]

_MOST_ON_GRID = 50_000
_RANDOM = 20_000
_STARTS = 16
_ROUNDS = 40
_NO_VALUE = 1e3  # violation, in spreads, of an expression without a value
_REACH = np.concatenate([size * 10.0 ** -np.arange(1.0, 8.0) for size in (-3.0, -1.0, 1.0, 3.0)])  # in ranges


def ceiling_limits(factors: Sequence[Factor], ceiling: Quantity | None) -> tuple[Limit, ...]:
    """One limit per temperature that comes within its own range of the ceiling; a preheat of moulds does not."""
    if ceiling is None:
        return ()
    limits = []
    for factor in factors:
        if not isinstance(factor, Amount) or dimension(factor.unit) != "temperature":
            continue
        most = ceiling.in_unit(factor.unit)
        if 2 * factor.high - factor.low > most:
            keep = f"{factor.name} <= {most:.10g}"
            limits.append(Limit(keep, f"the kiln goes no higher than {ceiling}", parse_comparison(keep)))
    return tuple(limits)


def gone_limits(factors: Sequence[Factor]) -> tuple[Limit, ...]:
    """One limit per factor with options that can no longer be had: none of them is proposed."""
    limits = []
    for factor in factors:
        if not isinstance(factor, Amount) and factor.gone:
            words = " or ".join(factor.gone)
            keep, why = f"{factor.name} is not {words}", f"{words} can no longer be had"
            limits.append(Limit(keep, why, _gone(factor), movable=False))
    return tuple(limits)


def _gone(factor: Choice | Ordered) -> Ceiling:
    gone = np.array([float(factor.options.index(option)) for option in factor.gone])

    def is_gone(columns: Columns) -> FloatArray:
        column = columns.get(factor.name)  # a setting in the making may not say it yet
        return np.zeros(1) if column is None else np.isin(column, gone).astype(float)

    places = tuple(float(place) for place in range(len(factor.options)))
    return Ceiling(is_gone, 0.5, (factor.name,), frozenset(), (places,))


def refuse_too_hot(notes: Notes, paths: Mapping[str, KeyPath], factors: Sequence[Factor], ceiling: Quantity) -> bool:
    """Fault every temperature factor whose whole range lies above the kiln's ceiling; whether there was one."""
    found = False
    for factor in factors:
        if (
            isinstance(factor, Amount)
            and dimension(factor.unit) == "temperature"
            and factor.low > ceiling.in_unit(factor.unit)
        ):
            notes.add(
                (*paths[factor.name], "low"),
                f'factor "{factor.name}" begins at {factor.show(factor.low)}, above the kiln\'s ceiling of {ceiling}',
                "lower the range or correct max_temperature",
            )
            found = True
    return found


def read_limits(blocks: Sequence[Block], factors: Mapping[str, Factor | None]) -> list[tuple[Limit, KeyPath]]:
    """All [[limit]] blocks without faults, each with its place; None stands for a factor with faults of its own."""
    found = []
    for block in blocks:
        text = block.text("keep", required=True)
        why = block.text("why") or ""
        if text is None:
            continue
        try:
            comparison = parse_comparison(text)
        except LimitSyntax as error:
            shown = text[max(0, error.at - 40) : error.at] + "[here]" + text[error.at : error.at + 20]
            block.fault(
                "keep", f'{error}: "{shown}"', "use factor names, numbers, + - * / ^, brackets and one of <= >= < >"
            )
            continue
        if not comparison.names:
            block.fault("keep", f"{quoted(text)} names no factor", "name at least one amount, or take the limit out")
        for name in sorted(comparison.names):
            if name not in factors:
                meant = nearest(name, factors)
                mend = f"write {quoted(meant)}" if meant else f"the factors are {listed(factors)}"
                block.fault("keep", f"{quoted(text)} names {quoted(name)}, which is no factor", mend)
            elif factors[name] is not None and not isinstance(factors[name], Amount):
                block.fault(
                    "keep",
                    f"{quoted(text)} names {quoted(name)}, which is a list of options and no number",
                    "use amounts only, or take unwanted options out of the factor",
                )
        if block.sound:
            found.append((Limit(text, why, comparison), (*block.path, "keep")))
    return found


def refuse_empty_region(notes: Notes, factors: Sequence[Factor], limits: Sequence[tuple[Limit, KeyPath]]) -> None:
    """Fault limits that leave no setting: each one alone, or else the smallest set of them found."""
    amounts = [factor for factor in factors if isinstance(factor, Amount)]
    alone = [(limit, path) for limit, path in limits if not can_be_kept(amounts, [limit])]
    for limit, path in alone:
        notes.add(
            path,
            f"the limit {quoted(limit.keep)} rules out every setting",
            f"loosen it, or widen the range of {listed(sorted(limit.comparison.names))}",
        )
    together = [pair for pair in limits if pair not in alone]
    if can_be_kept(amounts, [limit for limit, _ in together]):
        return
    for pair in tuple(together):  # what can be dropped without making room has no part in the conflict
        fewer = [other for other in together if other is not pair]
        if not can_be_kept(amounts, [limit for limit, _ in fewer]):
            together = fewer
    last = max((path for _, path in together), key=notes.document.line)
    notes.add(
        last,
        f"the limits {listed(limit.keep for limit, _ in together)} together rule out every setting",
        "loosen one of them",
    )


def can_be_kept(amounts: Sequence[Amount], limits: Sequence[Limit], seed: int = 1) -> bool:
    """Whether the search finds a setting within the ranges, on the steps, that keeps all limits."""
    return all(_has_room(group, rules, seed) for group, rules in _independent(amounts, limits))


def _independent(amounts: Sequence[Amount], limits: Sequence[Limit]) -> list[tuple[list[Amount], list[Limit]]]:
    """Groups of amounts that share limits; groups can be searched one by one."""
    groups: list[tuple[set[str], list[Limit]]] = []
    for limit in limits:
        names, rules = set(limit.comparison.names), [limit]
        apart = []
        for group in groups:
            if group[0] & names:
                names, rules = names | group[0], group[1] + rules
            else:
                apart.append(group)
        groups = [*apart, (names, rules)]
    return [([amount for amount in amounts if amount.name in names], rules) for names, rules in groups]


def _columns(amounts: Sequence[Amount], table: FloatArray) -> dict[str, FloatArray]:
    return {amount.name: table[..., i] for i, amount in enumerate(amounts)}


def _keeps(amounts: Sequence[Amount], limits: Sequence[Limit], table: FloatArray) -> bool:
    columns = _columns(amounts, table)
    return bool(np.any(np.logical_and.reduce([limit.holds(columns) for limit in limits])))


def _has_room(amounts: Sequence[Amount], limits: Sequence[Limit], seed: int) -> bool:
    grids = [amount.grid() for amount in amounts]
    if np.prod([float(len(grid)) for grid in grids]) <= _MOST_ON_GRID:
        table = np.stack(np.meshgrid(*grids, indexing="ij"), axis=-1).reshape(-1, len(amounts))
        if _keeps(amounts, limits, table):
            return True
        if all(amount.step is not None for amount in amounts):
            return False  # every setting there is was looked at
        rng = np.random.default_rng(seed)
    else:
        rng = np.random.default_rng(seed)
        corners = np.where(rng.random((1024, len(amounts))) < 0.5, [g[0] for g in grids], [g[-1] for g in grids])
        table = np.vstack([corners, np.column_stack([rng.choice(grid, _RANDOM) for grid in grids])])
        if _keeps(amounts, limits, table):
            return True
    return _downhill(amounts, limits, grids, table, rng)


def _downhill(
    amounts: Sequence[Amount],
    limits: Sequence[Limit],
    grids: Sequence[FloatArray],
    table: FloatArray,
    rng: np.random.Generator,
) -> bool:
    spreads = [_spread(limit.comparison.margin(_columns(amounts, table))) for limit in limits]

    def violation(rows: FloatArray) -> FloatArray:
        total = np.zeros(rows.shape[:-1])
        for limit, spread in zip(limits, spreads, strict=True):
            margin = limit.comparison.margin(_columns(amounts, rows)) / spread
            total = total + np.where(np.isfinite(margin), np.maximum(0.0, -margin), _NO_VALUE) ** 2
        return total

    nearest_first = np.argsort(violation(table), kind="stable")
    rows = np.vstack([table[nearest_first[:_STARTS]], table[rng.integers(len(table), size=_STARTS)]])
    best = violation(rows)
    for _ in range(_ROUNDS):
        before = best
        for j, (amount, grid) in enumerate(zip(amounts, grids, strict=True)):
            values = _moves(amount, grid, rows[:, j])
            trials = np.repeat(rows[:, None, :], values.shape[1], axis=1)
            trials[:, :, j] = values
            tried = violation(trials)
            chosen = tried.argmin(axis=1)
            best = tried[np.arange(len(rows)), chosen]
            rows = trials[np.arange(len(rows)), chosen]
        if _keeps(amounts, limits, rows):
            return True
        if np.all(best >= before):
            return False
    return False


def _spread(margin: FloatArray) -> float:
    finite = margin[np.isfinite(margin)]
    return float(finite.max() - finite.min()) or 1.0 if finite.size else 1.0


def _moves(amount: Amount, grid: FloatArray, now: FloatArray) -> FloatArray:
    """Where each start may move along one factor: to values over the whole range, or near by; staying comes first."""
    far = grid[np.unique(np.linspace(0, len(grid) - 1, 101).astype(int))]
    near = np.clip(now[:, None] + (amount.high - amount.low) * _REACH, amount.low, amount.high)
    if amount.step is not None:
        near = grid[np.clip(np.searchsorted(grid, near), 0, len(grid) - 1)]
    return np.column_stack([now, np.broadcast_to(far, (len(now), len(far))), near])
