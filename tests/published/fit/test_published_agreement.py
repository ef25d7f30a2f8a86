"""Weighted kappa on the illustration of Cohen 1968, Psychological Bulletin 70, 213-220, table 1.

200 cases in three diagnoses (proportions below), ratio weights of disagreement 1, 3 and 6. Table and results (kappa
.492, weighted kappa .348) from memory; both results follow from the table by hand: kappa = (.70 - .41) / (1 - .41) and
weighted kappa = 1 - .90 / 1.38.
"""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.fit.classical.agreement import weighted_kappa

CASES = 200 * np.array([[0.44, 0.05, 0.01], [0.07, 0.20, 0.03], [0.09, 0.05, 0.06]])
WEIGHTS = [[0, 1, 3], [1, 0, 6], [3, 6, 0]]


def test_cohens_illustration() -> None:
    assert weighted_kappa(CASES, "none").kappa == pytest.approx(0.492, abs=5e-4)
    assert weighted_kappa(CASES, WEIGHTS).kappa == pytest.approx(0.348, abs=5e-4)
    assert weighted_kappa(CASES, WEIGHTS).alike == pytest.approx(0.70)
