"""The error of a plan that cannot be drawn up."""

from __future__ import annotations

from meltdoe.errors import MeltdoeError

__all__ = ["PlanImpossible"]


class PlanImpossible(MeltdoeError):
    """What was asked for cannot be planned.

    Parameters
    ----------
    reason : why, in the words of the series.
    change : what to ask for instead, in the imperative.
    """

    def __init__(self, reason: str, change: str) -> None:
        self.reason = reason
        self.change = change
        super().__init__(f"{reason}; {change}")
