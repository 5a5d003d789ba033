"""The least metal to take off."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.matching import least_grinding


@given(st.lists(st.integers(0, 6), min_size=1, max_size=4), st.integers(0, 4))
def test_no_other_grinding_in_whole_steps_takes_off_less(weights: list[int], limit: int) -> None:
    """Every amount from 0 to 6 off every cylinder is tried."""
    sums = {str(c): Fraction(weight) for c, weight in enumerate(weights)}
    grinding = least_grinding(sums, Fraction(limit))
    left = [each - grinding.get(c, Fraction(0)) for c, each in sums.items()]
    assert max(left) - min(left) <= limit
    assert all(amount > 0 for amount in grinding.values())
    enough = (
        sum(amounts)
        for amounts in product(range(7), repeat=len(weights))
        for after in [[weight - amount for weight, amount in zip(weights, amounts, strict=True)]]
        if max(after) - min(after) <= limit
    )
    assert sum(grinding.values()) == min(enough)


def test_only_the_cylinders_above_the_lightest_and_the_limit_are_ground() -> None:
    """Lightest 500.0, limit 0.5: 500.5 may stay, 501.2 loses 0.7."""
    sums = {"1": Fraction("500.0"), "2": Fraction("500.5"), "3": Fraction("501.2")}
    assert least_grinding(sums, Fraction("0.5")) == {"3": Fraction("0.7")}


def test_a_limit_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="below zero"):
        least_grinding({"1": Fraction(1)}, Fraction(-1))
