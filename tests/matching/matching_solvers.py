"""Two solvers that share no code or idea with `match`: trying everything, and scipy's general MILP (HiGHS)."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import permutations, product
from math import lcm

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from buildbook.matching import Lock, Matching, Pool, Problem

NAMES = ("rod", "piston", "pin", "ring_set")


def random_problem(chance: random.Random, cylinders: int, pools: int, locks: int = 0, steps: int = 10) -> Problem:
    """Weights in steps of 1/steps g; the locks are read off one hidden pairing, so they never contradict."""
    names = tuple(str(c + 1) for c in range(cylinders))
    made = []
    for name in NAMES[:pools]:
        widest = chance.choice([4, 30, 60])
        weights = [Fraction(5000 + chance.randint(0, widest), steps) for _ in names]
        made.append(Pool(name, {f"{name[0].upper()}{name[1]}{c}": w for c, w in zip(names, weights, strict=True)}))
    hidden = [chance.sample(list(pool.pieces), cylinders) for pool in made]
    drawn = []
    for _ in range(locks):
        c = chance.randrange(cylinders)
        held = chance.sample(range(pools), chance.randint(1, pools))
        at = names[c] if len(held) == 1 or chance.random() < 0.4 else None
        drawn.append(Lock({made[p].name: hidden[p][c] for p in held}, at))
    return Problem(cylinders=names, pools=tuple(made), locks=tuple(drawn))


def smallest_spread_by_trying_all(problem: Problem) -> Fraction | None:
    """The smallest spread over every way to put every pool into the cylinders that keeps the locks, None if none."""
    count, pools = len(problem.cylinders), len(problem.pools)
    ids = [list(pool.pieces) for pool in problem.pools]
    parts = lcm(*(w.denominator for pool in problem.pools for w in pool.pieces.values()))
    ways, weights = [], []
    for pool in problem.pools:
        orders = np.array(list(permutations(range(count))))  # [way, cylinder] -> piece
        fixed = [
            (problem.cylinders.index(lock.cylinder), ids[problem.pools.index(pool)].index(piece))
            for lock in problem.locks
            if lock.cylinder is not None
            for name, piece in lock.pieces.items()
            if name == pool.name
        ]
        for cylinder, piece in fixed:
            orders = orders[orders[:, cylinder] == piece]
        if not any(lock.cylinder for lock in problem.locks) and pool is problem.pools[0]:
            orders = orders[:1]  # without cylinders named, naming them by the first pool loses nothing
        ways.append(orders)
        weights.append(np.array([int(w * parts) for w in pool.pieces.values()]))

    def along(axis: int, values: np.ndarray) -> np.ndarray:
        return values.reshape(*[-1 if a == axis else 1 for a in range(pools)], *values.shape[1:])

    sums = sum(along(p, weights[p][ways[p]]) for p in range(pools))
    assert isinstance(sums, np.ndarray)
    spreads = sums.max(axis=-1) - sums.min(axis=-1)
    allowed = np.ones(spreads.shape, dtype=bool)
    for lock in problem.locks:
        first, *others = [
            (p, ids[p].index(lock.pieces[pool.name]))
            for p, pool in enumerate(problem.pools)
            if pool.name in lock.pieces
        ]
        for other in others:
            where = [along(p, np.argmax(ways[p] == piece, axis=1)) for p, piece in (first, other)]
            allowed &= where[0] == where[1]
    return Fraction(int(spreads[allowed].min()), parts) if allowed.any() else None


def smallest_spread_by_milp(problem: Problem, seconds: float = 60.0) -> tuple[Fraction, bool]:
    """minimise heaviest - lightest over 0/1 choices of whole sets, each with its cylinder when locks name one.

    Returns the spread reached and whether the solver calls it optimal. Weights are given to it in whole steps, which
    a float holds exactly, and the sums are taken again exactly from the sets it chose.
    """
    count = len(problem.cylinders)
    ids = [list(pool.pieces) for pool in problem.pools]
    parts = lcm(*(w.denominator for pool in problem.pools for w in pool.pieces.values()))
    whole = [[int(w * parts) for w in pool.pieces.values()] for pool in problem.pools]
    named = any(lock.cylinder for lock in problem.locks)

    def keeps(lock: Lock, cylinder: int, pieces: tuple[int, ...]) -> bool:
        inside = {
            ids[p][piece] == lock.pieces[problem.pools[p].name]
            for p, piece in enumerate(pieces)
            if problem.pools[p].name in lock.pieces
        }
        if lock.cylinder is not None:
            inside.add(problem.cylinders[cylinder] == lock.cylinder)
        return len(inside) == 1

    cylinders = range(count if named else 1)
    sets = [
        (cylinder, pieces)
        for cylinder in cylinders
        for pieces in product(range(count), repeat=len(whole))
        if all(keeps(lock, cylinder, pieces) for lock in problem.locks)
    ]
    weight = [sum(whole[p][piece] for p, piece in enumerate(pieces)) for _, pieces in sets]
    rows: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    lower: list[float] = []
    upper: list[float] = []

    def row(entries: Iterator[tuple[int, float]], low: float, high: float) -> None:
        for column, value in entries:
            rows.append(len(lower))
            columns.append(column)
            values.append(value)
        lower.append(low)
        upper.append(high)

    for p in range(len(whole)):
        for piece in range(count):
            row(((s, 1) for s, (_, pieces) in enumerate(sets) if pieces[p] == piece), 1, 1)
    if named:
        for c in cylinders:
            row(((s, 1) for s, (cylinder, _) in enumerate(sets) if cylinder == c), 1, 1)
    heaviest, lightest = len(sets), len(sets) + 1
    middle = sum(map(sum, whole)) // count
    for piece in range(count):  # each set has one piece of the first pool, so these rows are the sums
        own = [(s, float(weight[s] - middle)) for s, (_, pieces) in enumerate(sets) if pieces[0] == piece]
        row(iter([*own, (heaviest, -1.0)]), -np.inf, 0)
        row(iter([*own, (lightest, -1.0)]), 0, np.inf)
    matrix = csr_array((values, (rows, columns)), shape=(len(lower), len(sets) + 2))
    ends = sum(max(pool) - min(pool) for pool in whole) + 1
    result = milp(
        c=np.array([0.0] * len(sets) + [1.0, -1.0]),
        constraints=LinearConstraint(matrix, np.array(lower), np.array(upper)),
        integrality=np.ones(len(sets) + 2, dtype=np.int64),
        bounds=Bounds(np.array([0.0] * len(sets) + [-ends, -ends]), np.array([1.0] * len(sets) + [ends, ends])),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    if result.x is None:
        raise RuntimeError(result.message)
    chosen = [weight[s] for s in range(len(sets)) if result.x[s] > 0.5]
    return Fraction(max(chosen) - min(chosen), parts), result.status == 0


def assert_holds(problem: Problem, matching: Matching) -> None:
    """Every piece is used once, every lock is kept, and the figures are those of this pairing."""
    assert list(matching.cylinders) == list(problem.cylinders)
    for pool in problem.pools:
        assert sorted(each[pool.name] for each in matching.cylinders.values()) == sorted(pool.pieces)
    for lock in problem.locks:
        holding = {
            c for c, each in matching.cylinders.items() for name, piece in lock.pieces.items() if each[name] == piece
        }
        assert len(holding) == 1
        assert lock.cylinder in (None, *holding)
    sums = {
        c: sum((pool.pieces[each[pool.name]] for pool in problem.pools), Fraction(0))
        for c, each in matching.cylinders.items()
    }
    assert dict(matching.sums) == sums
    assert matching.spread == max(sums.values()) - min(sums.values())
    assert matching.bound <= matching.best <= matching.spread <= matching.best + problem.tie
    assert matching.proven == (matching.best == matching.bound)
    assert matching.moved == moves(problem, matching.cylinders)


def moves(problem: Problem, cylinders: Mapping[str, Mapping[str, str]]) -> int:
    now = problem.placed or {
        c: {pool.name: list(pool.pieces)[i] for pool in problem.pools} for i, c in enumerate(problem.cylinders)
    }
    return sum(now[c][name] != piece for c, pieces in cylinders.items() for name, piece in pieces.items())
