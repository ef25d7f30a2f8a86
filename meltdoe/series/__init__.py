"""The question: what is varied, what is seen, what must never be tried, and how settings become numbers."""

from meltdoe.series.belief import Belief, Circumstance
from meltdoe.series.budget import Budget, Costs, Kiln
from meltdoe.series.coding import Coding
from meltdoe.series.factor import Amount, Choice, Factor, Ordered, Setting
from meltdoe.series.limit import Limit
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome, Seen, Unseen
from meltdoe.series.terms import Term, cross_terms, main_terms, parse_term, square_terms

__all__ = [
    "Amount", "Belief", "Budget", "Choice", "Circumstance", "Coding", "Costs", "Factor", "GoodRange", "Kiln", "Limit",
    "MeltSeries", "Ordered", "Outcome", "Seen", "Setting", "Term", "Unseen", "cross_terms", "main_terms", "parse_term",
    "square_terms",
]  # fmt: skip
