"""The designs that can be asked for by name, each in one line."""

from __future__ import annotations

from typing import Literal, TypeAlias, get_args

__all__ = ["CHOOSE_WHEN", "CRITERIA", "DESIGNS", "TITLES", "Design", "design_named"]

Design: TypeAlias = Literal[
    "auto", "fraction", "full", "plackett-burman", "definitive-screening", "box-behnken", "central-composite",
    "space-filling", "sobol", "array", "mixture", "optimal", "centre", "foldover", "half-foldover",
]  # fmt: skip

# name: what it is for
DESIGNS: dict[str, str] = {
    "auto": "a two-level pattern where one fits the factors, limits and firings, else an optimal design",
    "fraction": "part of all combinations of two levels, chosen so that effects are mixed up least",
    "full": "every combination of two levels and of all options",
    "plackett-burman": "many two-level factors in 12, 20, 24, ... 48 melts, main effects only",
    "definitive-screening": "low, middle and high of each amount, both of two options: main effects, curvature",
    "box-behnken": "a full quadratic for 3 to 7 amounts without extreme corners",
    "central-composite": "a full quadratic: corners, faces and centre",
    "space-filling": "melts spread evenly over the region, to start sequential work",
    "sobol": "melts spread by a fixed sequence that goes on evenly wherever it is stopped",
    "array": "a published orthogonal array of 9 to 36 melts for factors of two and three settings",
    "mixture": "blends of amounts that share a total by a limit such as soda + potash <= 20",
    "optimal": "computed for these factors, options, limits, firings and number of melts",
    "centre": "repeats of the middle setting, to learn how far equal melts differ",
    "foldover": "the melts made so far with all factors, or those named, reversed: undoes what was mixed up",
    "half-foldover": "the more telling half of a foldover",
}
# as they are called in tables and reasons, where the name is not that already
TITLES: dict[str, str] = {
    "full": "full factorial",
    "plackett-burman": "Plackett-Burman",
    "definitive-screening": "definitive screening",
    "box-behnken": "Box-Behnken",
    "central-composite": "central composite",
    "centre": "repeats of the middle",
    "array": "orthogonal array",
    "mixture": "simplex blends",
    "sobol": "Sobol sequence",
    "half-foldover": "half a foldover",
}
# what an optimal design can be best for
CRITERIA: dict[Literal["D", "A", "I", "bayesian-D", "pass-chance"], str] = {
    "D": "all effects together most precise",
    "A": "the effects most precise on average",
    "I": "predictions most precise on average over the region",
    "bayesian-D": "as D, and further interactions and curves that are only possible kept in view",
    "pass-chance": "as D for a pass or fail, averaged over what may be true",
}
# when to choose it, of designs that stand in a comparison; a fraction's depends on what it mixes up
CHOOSE_WHEN: dict[str, str] = {
    "full": "Choose it when there are few factors and every interaction matters.",
    "plackett-burman": "Choose it when there are many factors and interactions are thought to be small.",
    "definitive-screening": "Choose it when the best setting may lie between the ends of the ranges.",
    "box-behnken": "Choose it when curves are to be mapped and the extreme corners are risky.",
    "array": "Choose it when factors have different numbers of settings and a tried table is wanted.",
    "central-composite": "Choose it when the factors that matter are known and the optimum is to be mapped.",
    "mixture": "Choose it when shares of several materials are to be settled and blends may beat each alone.",
    "optimal": "Choose it when limits, options or firings leave no regular pattern whole.",
    "space-filling": "Choose it when nothing is known of the shape and later melts are chosen one by one.",
    "sobol": "Choose it when melts are chosen one by one and the series may stop after any of them.",
}
assert set(DESIGNS) == set(get_args(Design))


def design_named(text: str) -> str:
    """The design's name as it is written in `DESIGNS`, spaces and capitals forgiven.

    Raises
    ------
    ValueError
        For a name that is none, with the names there are.
    """
    name = "-".join(text.strip().lower().replace("_", " ").replace("-", " ").split())
    if name not in DESIGNS:
        raise ValueError(f'"{text}" is no design; take one of {", ".join(DESIGNS)}')
    return name
