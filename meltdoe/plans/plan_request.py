"""What a plan is asked for, checked once and carried through the drawing up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from meltdoe.errors import WrongUsage
from meltdoe.plans.designs_offered import CRITERIA, design_named
from meltdoe.plans.room import Room
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import Term, parse_term

__all__ = ["Criterion", "PlanRequest", "kept_clear", "plan_request"]

Criterion: TypeAlias = Literal["", "D", "A", "I", "bayesian-D", "pass-chance"]


@dataclass(frozen=True, eq=False)
class PlanRequest:
    """A plan as it was asked for.

    Parameters
    ----------
    design : one of `meltdoe.plans.designs_offered.DESIGNS`.
    melts : how many, added ones not counted; None where the design and the budget decide.
    existing, firing_of : (n_made, n_factors) raw settings already made, in the order of their firings, and the firing
        of each.
    centre_points, replicates : melts added in the middle, and as repeats of planned ones.
    clear : pairs of names of factors whose interaction must be mixed up with nothing of its order.
    criterion : what an optimal design is best for; "" for main effects first, interactions with the melts to spare.
    ratios : variance between firings over variance between melts of a firing.
    reverse : names of the factors that a foldover reverses; empty for all.
    blocks : equal parts, such as days or lots of material, that the melts are spread over; 1 for none.
    """

    series: MeltSeries
    design: str
    melts: int | None = None
    existing: FloatArray | None = None
    firing_of: npt.NDArray[np.int64] | None = None
    centre_points: int = 0
    replicates: int = 0
    clear: tuple[tuple[str, str], ...] = ()
    criterion: Criterion = ""
    ratios: tuple[float, ...] = (1.0,)
    reverse: tuple[str, ...] = ()
    blocks: int = 1

    @property
    def made(self) -> int:
        return 0 if self.existing is None else len(self.existing)

    @property
    def firing_sizes_made(self) -> tuple[int, ...]:
        """Melts of each firing already made, in order."""
        if self.firing_of is None:
            return (1,) * self.made
        return tuple(int(n) for n in np.unique(self.firing_of, return_counts=True)[1])

    @property
    def added(self) -> int:
        return self.centre_points + self.replicates

    def room_for_design(self, room: Room) -> Room:
        """The room that centre points and repeats leave.

        Where something is set per firing they may take firings of their own; else they fill up those of other melts.
        """
        series, costs = self.series, self.series.costs
        firings = ceil(self.added / series.kiln.melts_per_firing) if series.per_firing else 0
        return Room(
            series,
            None if room.melts is None else max(0, room.melts - self.added),
            None if room.firings is None else max(0, room.firings - firings),
            None if room.money is None else room.money - costs.melt * self.added - costs.firing * firings,
        )


def plan_request(
    series: MeltSeries,
    design: str,
    melts: int | None,
    existing: FloatArray | None,
    existing_firings: Sequence[int] | None,
    centre_points: int,
    replicates: int,
    keep_clear: Sequence[str],
    criterion: str,
    ratios: Sequence[float],
    reverse: Sequence[str],
    blocks: int,
) -> PlanRequest:
    """The request, every word of it checked.

    Raises
    ------
    WrongUsage
        For a design, criterion or factor that does not exist, or numbers that mean nothing.
    """
    try:
        name = design_named(design)
    except ValueError as unknown:
        raise WrongUsage(str(unknown)) from unknown
    if melts is not None and melts < 1:
        raise WrongUsage(f"a plan has at least one melt, not {melts}")
    for count, what in ((centre_points, "centre points"), (replicates, "replicates")):
        if count < 0:
            raise WrongUsage(f"the number of {what} cannot be negative, got {count}")
    if blocks < 1:
        raise WrongUsage(f"a plan has at least one block, not {blocks}")
    if not ratios or not min(ratios) >= 0.0 or not max(ratios) < np.inf:
        raise WrongUsage("a ratio of variances is a number from 0 upwards; 1 is a common guess")
    for factor in reverse:
        if factor not in series.factor_names:
            raise WrongUsage(f'"{factor}" is no factor of the series; reverse some of {", ".join(series.factor_names)}')
    if reverse and name not in ("foldover", "half-foldover"):
        raise WrongUsage('factors are reversed by design "foldover" or "half-foldover" only')
    made, firing_of = existing, None
    if existing is not None and existing_firings is not None:
        firing_of = np.asarray(existing_firings, dtype=np.int64)
        order = np.argsort(firing_of, kind="stable")
        made, firing_of = existing[order], firing_of[order]
    return PlanRequest(
        series, name, melts, made, firing_of, centre_points, replicates, kept_clear(series, keep_clear),
        _criterion(criterion, name), tuple(float(ratio) for ratio in ratios), tuple(dict.fromkeys(reverse)), blocks,
    )  # fmt: skip


def _criterion(text: str, design: str) -> Criterion:
    said = "-".join(text.strip().lower().replace("_", " ").replace("-", " ").split())
    if not said:
        return ""
    for name in CRITERIA:
        if name.lower() == said:
            if design not in ("auto", "optimal"):
                raise WrongUsage(f'a criterion goes with design "optimal", not "{design}"')
            return name
    raise WrongUsage(f'"{text}" is no criterion; take one of {", ".join(CRITERIA)}')


def kept_clear(series: MeltSeries, texts: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Pairs of factors from texts such as ``"flux * peak"``.

    Raises
    ------
    WrongUsage
        Where a text is no product of two different factors.
    """
    pairs: list[tuple[str, str]] = []
    for text in texts:
        try:
            term: Term | None = parse_term(text)
        except ValueError:
            term = None
        if term is None or len(term.factors) != 2 or term.order != 2:
            raise WrongUsage(f'"{text}" is no interaction of two factors; write for example "flux * peak"')
        for name in term.factors:
            if name not in series.factor_names:
                raise WrongUsage(
                    f'"{text}" names "{name}", which is no factor of the series; there are '
                    f"{', '.join(series.factor_names)}"
                )
        first, second = sorted(term.factors, key=series.factor_names.index)
        pairs.append((first, second))
    return tuple(dict.fromkeys(pairs))
