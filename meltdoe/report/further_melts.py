"""What further melts at the recommended setting would do to its chance, worked out from the draws that there are.

Each draw is weighted by the chance of what is imagined: n melts in firings of their own that are good throughout have
the chance p^n, n that fail at one stage the product of p^n over the stages before it and (1 - p)^n there. Only good or
not counts, so no reading has to be invented.
"""

from __future__ import annotations

import numpy as np

from meltdoe.fit.draws.diagnostics import importance_effective_draws
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.series.factor import FloatArray

__all__ = ["further_sentences"]

_FAILING, _GOOD = (1, 3), 3  # how many further melts are imagined
_FEWEST_DRAWS = 100.0  # effective draws below which nothing is said (our choice)


def further_sentences(chain: ChainFit, best: BestSetting) -> tuple[str, ...]:
    """The chance at the recommended setting after further failures there, and after further good melts."""
    shares = chain.stage_failure_share(best.raw)
    worst = max(shares, key=lambda name: float(shares[name][0]))
    success = chain.success_draws(best.raw)[:, 0]
    fails = {n: mean for n in _FAILING if (mean := _after(success, _failing(chain, best, worst) ** n)) is not None}
    said = []
    if fails:
        told = ", ".join(f"{percent(mean)} after {n} such melt{'s' * (n != 1)}" for n, mean in fails.items())
        said.append(
            f"Further melts at the recommended setting that fail at {worst.replace('_', ' ')} would bring its chance "
            f"from {percent(best.chance)} to {told}."
        )
    held = success**_GOOD
    reached = (success >= chain.series.target_chance).astype(float)
    chance, reaches = _after(success, held), _after(reached, held)
    if chance is not None and reaches is not None:
        said.append(
            f"{_GOOD} further melts there that are good throughout would bring it to {percent(chance)}, and the chance "
            f"that it reaches the {percent(chain.series.target_chance)} wanted from "
            f"{percent(best.chance_reaches_target)} to {percent(reaches)}."
        )
    return tuple(said)


def _failing(chain: ChainFit, best: BestSetting, worst: str) -> FloatArray:
    """Chance, in every draw, that a melt gets as far as a stage and fails there; stages beside it are good."""
    chance = np.ones(chain.n_draws)
    for stage in chain.stages:
        if not stage.outcome.counts:
            continue
        good = stage.chance_draws(best.raw)[:, 0]
        behind = any(one.name == worst for one in chain.series.forerunners(stage.outcome.name))
        chance *= 1.0 - good if stage.outcome.name == worst else np.ones(1) if behind else good
    return chance


def _after(values: FloatArray, weights: FloatArray) -> float | None:
    """Mean under the weights; None where too few draws would carry it."""
    total = float(weights.sum())
    if total <= 0 or importance_effective_draws(weights / total) < _FEWEST_DRAWS:
        return None
    return float(weights @ values / total)
