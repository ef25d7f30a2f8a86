"""The methods paragraph: which methods this very series used, and where they are published."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from meltdoe.fit.classical.firth_logistic import FirthFit
from meltdoe.fit.classical.ordered_logit import OrderedFit
from meltdoe.fit.classical.split_plot_reml import SplitPlotFit
from meltdoe.fit.model.inclusion_prior import InclusionPrior
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.figures.style import Picture

__all__ = ["REFERENCES", "Methods", "in_text", "methods"]

# Citations from memory; each stands beside its formula in the module that uses it.
REFERENCES = {
    "bedrick": "Bedrick, E. J., Christensen, R. and Johnson, W. (1996). A new perspective on priors for "
    "generalized linear models. Journal of the American Statistical Association 91, 1450-1460.",
    "botev": "Botev, Z. I. (2017). The normal law under linear restrictions: simulation and estimation via minimax "
    "tilting. Journal of the Royal Statistical Society B 79, 125-148.",
    "box": "Box, G. E. P., Hunter, J. S. and Hunter, W. G. (2005). Statistics for Experimenters, 2nd edition. Wiley.",
    "chipman": "Chipman, H. (1996). Bayesian variable selection with related predictors. Canadian Journal of "
    "Statistics 24, 17-36.",
    "clopper": "Clopper, C. J. and Pearson, E. S. (1934). The use of confidence or fiducial limits illustrated "
    "in the case of the binomial. Biometrika 26, 404-413.",
    "conjugate": "George, E. I. and McCulloch, R. E. (1997). Approaches for Bayesian variable selection. Statistica "
    "Sinica 7, 339-373.",
    "daniel": "Daniel, C. (1959). Use of half-normal plots in interpreting factorial two-level experiments. "
    "Technometrics 1, 311-341.",
    "firth": "Firth, D. (1993). Bias reduction of maximum likelihood estimates. Biometrika 80, 27-38.",
    "frazier": "Frazier, P., Powell, W. and Dayanik, S. (2008). A knowledge-gradient policy for sequential "
    "information collection. SIAM Journal on Control and Optimization 47, 2410-2439.",
    "george": "George, E. I. and McCulloch, R. E. (1993). Variable selection via Gibbs sampling. Journal of the "
    "American Statistical Association 88, 881-889.",
    "gelman": "Gelman, A., Jakulin, A., Pittau, M. G. and Su, Y.-S. (2008). A weakly informative default prior "
    "distribution for logistic and other regression models. Annals of Applied Statistics 2, 1360-1383.",
    "geweke": "Geweke, J. (1991). Efficient simulation from the multivariate normal and Student-t distributions "
    "subject to linear constraints. Computing Science and Statistics 23, 571-578.",
    "ghosh": "Ghosh, J., Li, Y. and Mitra, R. (2018). On the use of Cauchy prior distributions for Bayesian logistic "
    "regression. Bayesian Analysis 13, 359-383.",
    "goos": "Goos, P. and Vandebroek, M. (2001). Optimal split-plot designs. Journal of Quality Technology "
    "33, 436-450.",
    "greenland": "Greenland, S. and Mansournia, M. A. (2015). Penalization, bias reduction, and default priors in "
    "logistic and related categorical and survival regressions. Statistics in Medicine 34, 3133-3143.",
    "heinze": "Heinze, G. and Schemper, M. (2002). A solution to the problem of separation in logistic "
    "regression. Statistics in Medicine 21, 2409-2419.",
    "kenward": "Kenward, M. G. and Roger, J. H. (1997). Small sample inference for fixed effects from restricted "
    "maximum likelihood. Biometrics 53, 983-997.",
    "lenth": "Lenth, R. V. (1989). Quick and easy analysis of unreplicated factorials. Technometrics 31, 469-473.",
    "lindley": "Lindley, D. V. (1956). On a measure of the information provided by an experiment. Annals of "
    "Mathematical Statistics 27, 986-1005.",
    "mccullagh": "McCullagh, P. (1980). Regression models for ordinal data. Journal of the Royal Statistical "
    "Society B 42, 109-142.",
    "murray": "Murray, I., Adams, R. P. and MacKay, D. J. C. (2010). Elliptical slice sampling. Proceedings of "
    "the 13th International Conference on Artificial Intelligence and Statistics, 541-548.",
    "patterson": "Patterson, H. D. and Thompson, R. (1971). Recovery of inter-block information when block sizes "
    "are unequal. Biometrika 58, 545-554.",
    "schmidli": "Schmidli, H., Gsteiger, S., Roychoudhury, S., O'Hagan, A., Spiegelhalter, D. and Neuenschwander, B. "
    "(2014). Robust meta-analytic-predictive priors in clinical trials with historical control information. Biometrics "
    "70, 1023-1032.",
    "scott": "Scott, J. G. and Berger, J. O. (2010). Bayes and empirical-Bayes multiplicity adjustment in the "
    "variable-selection problem. Annals of Statistics 38, 2587-2619.",
    "vehtari": "Vehtari, A., Simpson, D., Gelman, A., Yao, Y. and Gabry, J. (2024). Pareto smoothed importance "
    "sampling. Journal of Machine Learning Research 25(72).",
}

_BEHIND: dict[type, set[str]] = {
    FirthFit: {"firth", "heinze"},
    OrderedFit: {"greenland"},
    SplitPlotFit: {"kenward", "patterson"},
}


@dataclass(frozen=True, slots=True)
class Methods:
    """What the methods paragraph has to speak of.

    Attributes
    ----------
    design, plan_seed : how the plan is called, empty where there was none, and what gave its order.
    randomised : whether its order was drawn; a plan written by hand has none.
    prior : sizes of the prior of all outcomes, over `n_factors` factors.
    kinds : kinds of outcome that were seen. classical : classical methods that gave estimates.
    sampled, weighted : whether any posterior was drawn by chains, or by weighting.
    shared : whether melts of one firing (or castings of one melt) were given an effect of their own.
    references : in full, by author and year. cited : the same as the text names them, by key.
    """

    level: float
    n_draws: int
    seed: int
    design: str
    plan_seed: int
    randomised: bool
    prior: InclusionPrior
    n_factors: int
    kinds: frozenset[str]
    classical: tuple[str, ...]
    sampled: bool
    weighted: bool
    shared: bool
    beliefs: int
    chemistry: int
    half_normal: bool
    per_firing: bool
    references: tuple[str, ...]
    cited: Mapping[str, str]

    def named(self, *keys: str) -> str:
        """Those of the references that this series rests on, as the text names them."""
        return "; ".join(self.cited[key] for key in keys if key in self.cited)


def methods(chain: ChainFit, plan: Plan | None, pictures: tuple[Picture, ...]) -> Methods:
    """Look through a fitted chain for the methods that it used."""
    seen = [stage for stage in chain.stages if stage.n_seen]
    kinds = frozenset(stage.outcome.kind for stage in seen)
    classical = tuple(dict.fromkeys(stage.classical.method for stage in seen if stage.classical.fit is not None))
    ways = {stage.posterior.diagnostics.method for stage in chain.stages}
    half_normal = any(picture.name.startswith("half-normal") for picture in pictures)
    per_firing = bool(chain.series.per_firing)
    cited = {"george", "chipman", "gelman", "ghosh", "scott", "clopper", "lindley", "frazier"}
    cited |= {"box"} if plan is not None else set()
    cited |= {"goos"} if plan is not None and per_firing else set()
    for fitted, keys in _BEHIND.items():
        cited |= keys if any(isinstance(stage.classical.fit, fitted) for stage in seen) else set()
    cited |= {"conjugate", "geweke", "botev"} if "measured" in kinds else set()
    cited |= {"mccullagh"} if "grade" in kinds else set()
    cited |= {"murray"} if "slice" in ways else set()
    cited |= {"vehtari"} if "importance" in ways else set()
    prior = chain.series.chemistry_prior
    expected = prior.beliefs if prior else ()
    cited |= {"bedrick"} if chain.series.beliefs or expected else set()
    cited |= {"schmidli"} if expected else set()
    cited |= {"lenth", "daniel"} if half_normal else set()
    return Methods(
        level=chain.level,
        n_draws=chain.n_draws,
        seed=chain.seed,
        design="" if plan is None else plan.design,
        plan_seed=0 if plan is None else plan.seed,
        randomised=plan is not None and bool(plan.by_lot),
        prior=InclusionPrior(),
        n_factors=len(chain.series.factors),
        kinds=kinds,
        classical=classical,
        sampled="slice" in ways,
        weighted="importance" in ways,
        shared=any(stage.data.groups is not None for stage in seen),
        beliefs=len(chain.series.beliefs),
        chemistry=len(expected),
        half_normal=half_normal,
        per_firing=per_firing,
        references=tuple(sorted(REFERENCES[key] for key in cited)),
        cited={key: in_text(REFERENCES[key]) for key in cited},
    )


def in_text(reference: str) -> str:
    """How a reference is named in the text: "Firth 1993", "Goos and Vandebroek 2001", "Bedrick et al. 1996"."""
    authors, year = reference.split(")")[0].split(" (")
    surnames = re.findall(r"([\w'-]+), (?:[A-Z]\.[ -]?)+", authors + " ")
    names = f"{surnames[0]} et al." if len(surnames) > 2 else " and ".join(surnames)
    return f"{names} {year}"
