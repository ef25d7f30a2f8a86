"""Chances that general-purpose classifiers state for the same melts: the scores to be at least as good as.

Firth's estimate plugged in, ridge logistic regression (scikit-learn, C = 1), and a Gaussian-process classifier
(scikit-learn, RBF kernel, its two hyperparameters fitted). Where all melts came out alike the last two cannot be
fitted and state (successes + 1) / (n + 2).
"""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessClassifier
from sklearn.gaussian_process.kernels import RBF
from sklearn.linear_model import LogisticRegression

from meltdoe.fit.classical.firth_logistic import firth
from meltdoe.fit.stages.model_terms import independent_columns

__all__ = ["RIVALS", "rival_chances"]

Array = NDArray[np.float64]

RIVALS = ("Firth", "ridge", "Gaussian process")


def rival_chances(X: Array, y: Array, fresh: Array) -> dict[str, Array]:
    """Chance of y = 1 at fresh rows, by each of `RIVALS`.

    Parameters
    ----------
    X : (n, p) model matrix, first column ones. y : (n,) 0 or 1. fresh : (m, p).
    """
    # Firth's estimate needs independent columns; the earlier of two that depend on each other stays.
    kept = list(independent_columns(X))
    chances = {"Firth": expit(fresh[:, kept] @ firth(X[:, kept], y).coef)}
    if y.min() == y.max():
        rate = np.full(len(fresh), (y.sum() + 1.0) / (y.size + 2.0))
        return {**chances, "ridge": rate, "Gaussian process": rate}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)  # a length scale at the end of its range is a fit as well
        ridge = LogisticRegression(C=1.0, max_iter=1000).fit(X[:, 1:], y)
        process = GaussianProcessClassifier(1.0 * RBF(1.0), random_state=0).fit(X[:, 1:], y)
    chances["ridge"] = ridge.predict_proba(fresh[:, 1:])[:, 1]
    chances["Gaussian process"] = process.predict_proba(fresh[:, 1:])[:, 1]
    return chances
