"""Pairing and assignment: what is known from the literature, with its source beside each check."""

from __future__ import annotations

import random
from fractions import Fraction
from itertools import permutations

from buildbook.matching import Pool, Problem, match


def problem(**pools: list[int]) -> Problem:
    count = len(next(iter(pools.values())))
    return Problem(
        cylinders=tuple(str(c + 1) for c in range(count)),
        pools=tuple(
            Pool(name, {f"{name}{c + 1}": Fraction(weight) for c, weight in enumerate(weights)})
            for name, weights in pools.items()
        ),
    )


def test_two_lists_sorted_opposite_have_the_smallest_range() -> None:
    """Rearrangement inequality (Hardy, Littlewood and Polya, Inequalities, ch. X; from memory), by exchange: largest
    with smallest has the smallest heaviest sum, the largest lightest sum, and so the smallest range."""
    chance = random.Random(1)
    for _ in range(100):
        count = chance.randint(2, 6)
        first, second = ([chance.randint(0, 50) for _ in range(count)] for _ in range(2))
        every = [[a + b for a, b in zip(first, order, strict=True)] for order in permutations(second)]
        matching = match(problem(rod=first, piston=second))
        assert max(matching.sums.values()) == min(max(sums) for sums in every)
        assert min(matching.sums.values()) == max(min(sums) for sums in every)


def test_for_three_lists_sorting_one_after_the_other_is_not_the_best() -> None:
    """Derived by hand: A = B = 1, 4, 7 and C = 0, 0, 9. Opposite sorting of A and B gives 8, 8, 8, and 9 then makes one
    of them 17: range 9. But 1+1+9 = 4+7+0 = 7+4+0 = 11: range 0."""
    matching = match(problem(rod=[1, 4, 7], piston=[1, 4, 7], pin=[0, 0, 9]))
    assert matching.sorted_spread == 9
    assert matching.spread == 0
    assert matching.proven
    assert set(matching.sums.values()) == {11}


def test_equal_sums_are_found_whenever_three_lists_were_made_from_them() -> None:
    """Numerical three-dimensional matching (Garey and Johnson 1979, problem SP16): instances whose answer is yes."""
    chance = random.Random(2)
    for _ in range(30):
        first, second = ([chance.randint(0, 40) for _ in range(8)] for _ in range(2))
        third = [80 - a - b for a, b in zip(first, second, strict=True)]
        lists = [chance.sample(each, 8) for each in (first, second, third)]
        matching = match(problem(rod=lists[0], piston=lists[1], pin=lists[2]))
        assert matching.spread == 0
        assert matching.proven


def test_an_engine_whose_total_cannot_be_shared_equally_has_at_least_one_step_of_spread() -> None:
    """Equal whole sums need a total divisible by their number: 1+1+2+2+1+2+0+0 = 9 over 2 cylinders is not."""
    matching = match(problem(rod=[1, 1], piston=[2, 2], pin=[1, 2], ring_set=[0, 0]))
    assert matching.bound == matching.spread == 1
    assert matching.proven
