"""Fits and tests without a prior: Firth, ordered logit, least squares, firings by REML, exact intervals."""
