"""What it takes: the price of a plan with its expected losses."""

from meltdoe.costs.price import Price, assumed_chances, cost_of, expected_failures, price

__all__ = ["Price", "assumed_chances", "cost_of", "expected_failures", "price"]
