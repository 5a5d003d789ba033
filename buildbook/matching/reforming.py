"""Sets made up anew while they are placed: the least on the crankshaft, with the sums still as even as they have to be.

Imports numpy, so it is imported itself only where sets are made up anew.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations
from math import factorial, inf
from random import Random
from time import monotonic
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from buildbook.matching.seating import least_of

# So many ways in all are looked at one by one.
_EVERY_WAY = 400_000

# Amounts that differ by no more than this differ by how floats round.
_ROUNDING = 1e-9

# So many exchanges, taken at random, lead away from the best so far before the next descent begins.
_KICKS, _PATIENCE = 4, 300

Where = list[list[int]]  # [pool][cylinder] -> piece


@dataclass(frozen=True, slots=True)
class Pieces:
    """The pieces of each pool and the cylinders; all are numbered from 0, and piece c is in cylinder c as matched.

    sums, loads: [pool][piece] what the piece adds to the sum of its cylinder and to its crankpin [g].
    acts, rest: as in `seating.Seats`, `rest` being what there is with no load at all.
    within: heaviest less lightest sum may be no more than this [g].
    held: [pool][piece] -> bits of the pools whose pieces it is locked together with, its own included.
    anchored: (pool, piece) that stay where they are.
    barred: (pool, piece, cylinder) that do not go together.
    """

    sums: Sequence[Sequence[float]]
    loads: Sequence[Sequence[float]]
    acts: Sequence[Sequence[complex]]
    rest: Sequence[complex]
    within: float
    held: Sequence[Sequence[int]]
    anchored: Collection[tuple[int, int]] = ()
    barred: Collection[tuple[int, int, int]] = ()


class Reformed(NamedTuple):
    """[pool][cylinder] -> piece; what that leaves at the worse plane, and what no way of making up sets can leave less
    than. `proven` where the two are one."""

    where: Where
    worst: float
    bound: float
    proven: bool


def reform(pieces: Pieces, start: Where, seconds: float, good_enough: float) -> Reformed:
    """Make up and place the sets anew, from a start that keeps the limit and the locks.

    The same pieces of two cylinders are exchanged, whichever exchange leaves the least, until none helps; then some
    are exchanged at random and it goes on from there, until what is left is `good_enough`, or _PATIENCE descents in a
    row were in vain, or `seconds` have passed. So nothing is ruled out, and only the arithmetic of `seating.least_of`
    holds as bound. Where there are no more than _EVERY_WAY ways in all, every one is looked at instead: for four
    cylinders with four kinds of piece, say; then of those that leave the least it is the one that moves the fewest
    pieces.
    """
    if factorial(len(start[0])) ** len(start) <= _EVERY_WAY:
        return _best_of_all(pieces, start)
    deadline = monotonic() + seconds
    chance = Random(0)
    best = _State(pieces, start)
    best.descend(deadline)
    in_vain = 0
    while best.worst > good_enough and in_vain < _PATIENCE and monotonic() < deadline:
        in_vain += 1
        other = _State(pieces, best.where)
        for _ in range(_KICKS):
            if steps := list(other.exchanges()):
                other.take(chance.choice(steps))
        other.descend(deadline)
        if other.worst < best.worst:
            best, in_vain = other, 0
    bound = min(best.worst, least_of(pieces.loads, pieces.acts, pieces.rest))
    return Reformed(best.where, best.worst, bound, best.worst - bound <= 1e-12)


def _best_of_all(pieces: Pieces, start: Where) -> Reformed:
    """Every way there is. The start is lawful, so that there is one."""
    count = len(start[0])
    every = np.array(list(permutations(range(count))), dtype=np.intp)  # [way][cylinder] -> piece
    sums, left = np.zeros((1, count)), np.array([pieces.rest], dtype=complex)
    moved, at = np.zeros(1, dtype=np.intp), np.zeros((1, 0, count), dtype=np.intp)  # [way][pool][piece] -> cylinder
    acts = np.array(pieces.acts, dtype=complex).T
    for pool, placed in enumerate(start):
        lawful = np.ones(len(every), dtype=bool)
        for cylinder, piece in enumerate(placed):
            if (pool, piece) in pieces.anchored:
                lawful &= every[:, cylinder] == piece
        for of_pool, piece, cylinder in pieces.barred:
            if of_pool == pool:
                lawful &= every[:, cylinder] != piece
        ways = every[lawful]
        sums = _each_with_each(sums, np.array(pieces.sums[pool])[ways])
        left = _each_with_each(left, np.array(pieces.loads[pool])[ways] @ acts)
        moved = _each_with_each(moved[:, None], (ways != np.arange(count)).sum(axis=1)[:, None])[:, 0]
        one, two = np.repeat(np.arange(len(at)), len(ways)), np.tile(np.arange(len(ways)), len(at))
        at = np.concatenate([at[one], np.argsort(ways, axis=1)[two][:, None]], axis=1)
    lawful = np.ptp(sums, axis=1) <= pieces.within + _ROUNDING
    for pool, held in enumerate(pieces.held):
        for piece, bits in enumerate(held):
            for other in range(pool):
                if bits >> other & 1:
                    with_it = start[other][start[pool].index(piece)]
                    lawful &= at[:, pool, piece] == at[:, other, with_it]
    worst = np.where(lawful, np.abs(left).max(axis=1), inf)
    least = float(worst.min())
    equal = np.flatnonzero(worst <= least + _ROUNDING)
    best = np.argsort(at[equal[moved[equal].argmin()]], axis=1)
    return Reformed(best.tolist(), least, least, True)


Numbers = TypeVar("Numbers", bound=np.generic)


def _each_with_each(ones: NDArray[Numbers], others: NDArray[Numbers]) -> NDArray[Numbers]:
    """The sum of every row with every other."""
    return (ones[:, None] + others[None]).reshape(-1, ones.shape[1])  # type: ignore[operator]


class _Exchange(NamedTuple):
    worst: float
    pools: int  # bits
    one: int
    two: int


class _State:
    def __init__(self, pieces: Pieces, where: Where) -> None:
        self.pieces = pieces
        self.where = [list(each) for each in where]
        self.count = len(where[0])
        self.sums = self._by_cylinder(pieces.sums)
        self.loads = self._by_cylinder(pieces.loads)
        self.settle()

    def _by_cylinder(self, weights: Sequence[Sequence[float]]) -> list[float]:
        return [
            sum(of_pool[placed[cylinder]] for of_pool, placed in zip(weights, self.where, strict=True))
            for cylinder in range(self.count)
        ]

    def settle(self) -> None:
        """Add up anew what is left, so that no rounding gathers."""
        self.left = [
            rest + sum(load * act for load, act in zip(self.loads, acts, strict=True))
            for acts, rest in zip(self.pieces.acts, self.pieces.rest, strict=True)
        ]
        self.worst = max(map(abs, self.left))

    def exchanges(self) -> Iterator[_Exchange]:
        """Every exchange of two cylinders' pieces that keeps the limit, the locks and the bars, with what it leaves."""
        pieces, where = self.pieces, self.where
        locks = [
            [held for pool, placed in enumerate(where) if (held := pieces.held[pool][placed[cylinder]]) != 1 << pool]
            for cylinder in range(self.count)
        ]
        fixed = [
            sum(1 << pool for pool, placed in enumerate(where) if (pool, placed[cylinder]) in pieces.anchored)
            for cylinder in range(self.count)
        ]
        for one, two in combinations(range(self.count), 2):
            others = [each for at, each in enumerate(self.sums) if at not in (one, two)]
            least, most = min(others, default=inf), max(others, default=-inf)
            turned = [acts[two] - acts[one] for acts in pieces.acts]
            for pools in range(1, 1 << len(where)):
                if pools & (fixed[one] | fixed[two]):
                    continue
                if any(pools & held and held & ~pools for held in (*locks[one], *locks[two])):
                    continue
                more, load = self._changes(pools, one, two)
                lighter, heavier = sorted((self.sums[one] + more, self.sums[two] - more))
                if max(most, heavier) - min(least, lighter) > pieces.within + _ROUNDING or self._is_barred(
                    pools, one, two
                ):
                    continue
                worst = max(abs(left - load * turn) for left, turn in zip(self.left, turned, strict=True))
                yield _Exchange(worst, pools, one, two)

    def _changes(self, pools: int, one: int, two: int) -> tuple[float, float]:
        """What cylinder `one` gains in its sum and on its crankpin, and cylinder `two` loses."""
        more = load = 0.0
        for pool, placed in enumerate(self.where):
            if pools >> pool & 1:
                here, there = placed[one], placed[two]
                more += self.pieces.sums[pool][there] - self.pieces.sums[pool][here]
                load += self.pieces.loads[pool][there] - self.pieces.loads[pool][here]
        return more, load

    def _is_barred(self, pools: int, one: int, two: int) -> bool:
        return any(
            pools >> pool & 1
            and not {(pool, placed[one], two), (pool, placed[two], one)}.isdisjoint(self.pieces.barred)
            for pool, placed in enumerate(self.where)
        )

    def take(self, exchange: _Exchange) -> None:
        _, pools, one, two = exchange
        more, load = self._changes(pools, one, two)
        self.sums[one], self.sums[two] = self.sums[one] + more, self.sums[two] - more
        self.loads[one], self.loads[two] = self.loads[one] + load, self.loads[two] - load
        for pool, placed in enumerate(self.where):
            if pools >> pool & 1:
                placed[one], placed[two] = placed[two], placed[one]
        self.settle()

    def descend(self, deadline: float) -> None:
        while monotonic() < deadline:
            best = min(self.exchanges(), default=None)
            if best is None or best.worst >= self.worst - 1e-12:
                return
            self.take(best)
