"""Placing sets over the cylinders, apart from how the sets were found."""

from __future__ import annotations

import random
from itertools import permutations

import numpy as np
from scipy.optimize import linear_sum_assignment

from buildbook.matching.placing import Aim, Bench, assign, evenest_throws, place


def test_assignments_cost_what_scipys_cost() -> None:
    """scipy.optimize.linear_sum_assignment."""
    chance = random.Random(1)
    for size in [1, 2, 3, 5, 8, 16] * 10:
        cost = [[chance.choice([0, 1, 2, 3, 50]) for _ in range(size)] for _ in range(size)]
        columns = assign(cost)
        assert sorted(columns) == list(range(size))
        rows, best = linear_sum_assignment(np.array(cost))
        assert sum(cost[row][column] for row, column in enumerate(columns)) == np.array(cost)[rows, best].sum()


def test_of_the_even_placings_the_one_that_moves_the_fewest_pieces_is_taken() -> None:
    """Against every order of six sets over the cylinders of three throws, no two pieces alike."""
    chance = random.Random(2)
    needed_more = 0
    for _ in range(30):
        count = 6
        bench = Bench(
            weights=[chance.sample(range(100), count) for _ in range(3)],
            held=[[1 << pool] * count for pool in range(3)],
            anchors=[[None] * count for _ in range(3)],
            homes=[list(range(count)) for _ in range(3)],
            rods=0,
            big_ends=[chance.randint(0, 20) for _ in range(count)],
            throws=[0, 1, 2, 2, 1, 0],
        )
        sets = list(zip(*(chance.sample(range(count), count) for _ in range(3)), strict=True))
        aim = Aim(0, 0, evenest_throws(bench), 3)
        every = [[[each[pool] for each in order] for pool in range(3)] for order in permutations(sets)]
        even = [where for where in every if bench.throw_spread(where) <= aim.throw_spread + 3]
        assert aim.throw_spread == min(bench.throw_spread(where) for where in every)
        where = place(bench, sets, aim)
        assert bench.throw_spread(where) <= aim.throw_spread + 3
        assert bench.moved(where) == min(bench.moved(each) for each in even)
        needed_more += bench.moved(where) > min(bench.moved(each) for each in every)
    assert needed_more > 10
