"""Which set goes into which cylinder, so that what they leave on the crankshaft is as small as it can be.

Imports numpy, so it is imported itself only where sets are placed.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, permutations
from math import comb, factorial, inf
from random import Random
from time import monotonic
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from buildbook.matching.problem import MatchingError

Vectors = NDArray[np.complex128]  # [way][plane]
Whole = NDArray[np.intp]

# More cylinders than this in one half have too many orders to look at all of them; so many are drawn then.
_EVERY_ORDER_OF, _DRAWN = 8, 40_320

# All ways of placing so many sets are looked at within a second or so; of more, not all within any time one waits for.
_ALL_LOOKED_AT = 12

_PAIRS_AT_ONCE = 1_000_000

# Two ways that differ by no more than this share of all there is differ by how floats round, and by nothing else.
_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True)
class Seats:
    """The sets and the cylinders; both are numbered from 0, and set number c is in cylinder number c now.

    weights: [set] its weight on the crankpin [g], from any zero that `rest` agrees with.
    acts: [plane][cylinder] what one gram on that crankpin is worth at each plane, as a vector, in the unit that the
        planes are judged by: grams at the plane, say, or shares of what is permissible there.
    rest: [plane] what there is at the plane whatever goes where, in the same unit.
    locked: set -> the cylinder that it has to be in.
    barred: (set, cylinder) that do not go together.
    """

    weights: Sequence[float]
    acts: Sequence[Sequence[complex]]
    rest: Sequence[complex]
    locked: Mapping[int, int] = field(default_factory=dict)
    barred: Collection[tuple[int, int]] = ()

    def left(self, sets: Sequence[int]) -> list[complex]:
        """What is left at each plane with sets[c] in cylinder c: rest + Σ weight × what a gram is worth there."""
        return [
            rest + sum(self.weights[each] * acts[cylinder] for cylinder, each in enumerate(sets))
            for acts, rest in zip(self.acts, self.rest, strict=True)
        ]

    def worst(self, sets: Sequence[int]) -> float:
        """The larger of what is left at the planes."""
        return max(map(abs, self.left(sets)))


class Seating(NamedTuple):
    """sets: [cylinder] the set that goes there; `worst` is what it leaves at the worse plane, in the unit of `Seats`,
    and no way that keeps the locks leaves less than `bound`. `proven`: they are one. `looked_at` of `ways`."""

    sets: tuple[int, ...]
    worst: float
    bound: float
    proven: bool
    moved: int
    ways: int
    looked_at: int


def seat(seats: Seats, seconds: float = 10.0, good_enough: float = 0.0) -> Seating:
    """The way that leaves the least at the worse plane, and of equals the one that moves the fewest sets.

    Exact unless `seconds` run out. All ways are looked at from the middle: the cylinders are cut into two halves, and
    for every choice of sets for the first half, every order there meets every order in the other. What is left is the
    sum of two vectors, so one half's orders are sorted by one coordinate, and of the other half only those that come
    within what the best way so far leaves are added up. For 8 sets that is all of 40,320 ways; for 12, some thousandth
    of 479 million, with none left out that could be better. More than _ALL_LOOKED_AT it goes on only until
    something `good_enough` is found, in the unit of `Seats`, and then, as when time runs out, only the arithmetic of
    `least_of` holds as bound. That is zero as a rule, and hardly too low: four sums are to vanish at once, and where n!
    ways spread over them, the nearest miss is as a share of what one way leaves about n!^(-1/4), for 16 sets 0.0005.
    Raises MatchingError where the locks contradict one another, or where no way was found
    that keeps them and puts no set where it is barred.
    """
    deadline = monotonic() + seconds
    if len(set(seats.locked.values())) < len(seats.locked):
        raise MatchingError("the locks put two sets into one cylinder")
    work = _Work(seats)
    finished, looked_at = True, 0
    for first in work.choices():
        if monotonic() > deadline or not work.look_at(first, deadline):
            finished = False
            break
        looked_at += len(work.orders[0]) * len(work.orders[1])
        if len(work.sets) > _ALL_LOOKED_AT and work.reach <= good_enough:
            finished = False
            break
    finished = finished and work.complete
    if work.best is None:
        raise MatchingError("no way was found to give every set a cylinder that it fits and keep the locks")
    ways = factorial(len(work.sets))
    worst = seats.worst(work.best)
    bound = worst if finished else min(worst, work.least())
    return Seating(
        sets=tuple(work.best),
        worst=worst,
        bound=bound,
        proven=finished or worst - bound <= work.rounding,
        moved=_moved(work.best),
        ways=ways,
        looked_at=looked_at,
    )


def _moved(sets: Sequence[int]) -> int:
    return sum(each != cylinder for cylinder, each in enumerate(sets))


class _Work:
    def __init__(self, seats: Seats) -> None:
        self.seats = seats
        taken = set(seats.locked.values())
        self.sets = [each for each in range(len(seats.weights)) if each not in seats.locked]
        self.cylinders = [each for each in range(len(seats.weights)) if each not in taken]
        self.weights = np.array(seats.weights, dtype=float)
        self.acts = np.array(seats.acts, dtype=complex)
        self.rest = np.array(seats.rest, dtype=complex)
        for each, cylinder in seats.locked.items():
            self.rest += self.weights[each] * self.acts[:, cylinder]
        self.fixed = np.zeros(len(self.weights), dtype=np.intp)
        self.fixed[list(seats.locked.values())] = list(seats.locked)
        half = len(self.cylinders) // 2
        self.halves = self.cylinders[:half], self.cylinders[half:]
        self.complete = len(self.halves[1]) <= _EVERY_ORDER_OF
        self.orders = _orders(half), _orders(len(self.cylinders) - half)
        largest = np.abs(self.weights).max() * np.abs(self.acts).sum() + np.abs(self.rest).sum()
        self.rounding = _ROUNDING * float(largest)
        self.allowed = np.ones((len(self.weights), len(self.weights)), dtype=bool)
        for each, cylinder in seats.barred:
            self.allowed[each, cylinder] = False
        now = self._as_now()
        fits = all(self.allowed[each, cylinder] for cylinder, each in enumerate(now) if each in self.sets)
        self.best: list[int] | None = now if fits else None
        self.reach = seats.worst(now) if fits else inf

    def _as_now(self) -> list[int]:
        """Every set where it is, but for what the locks put elsewhere; whoever has to make room takes what is free."""
        at = {cylinder: each for each, cylinder in self.seats.locked.items()}
        at |= {each: each for each in self.sets if each in self.cylinders}
        homeless = iter([each for each in self.sets if each not in self.cylinders])
        return [at[cylinder] if cylinder in at else next(homeless) for cylinder in range(len(self.weights))]

    def least(self) -> float:
        free = [self.seats.weights[each] for each in self.sets]
        acts = [[acts[cylinder] for cylinder in self.cylinders] for acts in self.seats.acts]
        return least_of([free], acts, self.rest.tolist())

    def choices(self) -> Iterator[tuple[int, ...]]:
        """The sets that may go into the first half: every choice, or in any order those that time allows."""
        size = len(self.halves[0])
        if len(self.sets) <= _ALL_LOOKED_AT:
            yield from combinations(self.sets, size)
            return
        chance, seen = Random(0), set[tuple[int, ...]]()
        while len(seen) < comb(len(self.sets), size):
            chosen = tuple(sorted(chance.sample(self.sets, size)))
            if chosen not in seen:
                seen.add(chosen)
                yield chosen

    def look_at(self, first: Sequence[int], deadline: float) -> bool:
        """Every order of these sets in the first half with every order of the others in the second; False where time
        ran out. A better way becomes `best`, and `reach` what it leaves."""
        other = [each for each in self.sets if each not in first]
        chosen = [
            np.array(each, dtype=np.intp)[orders] for each, orders in zip((first, other), self.orders, strict=True)
        ]
        chosen = [
            ways[self.allowed[ways, list(half)].all(axis=1)] for ways, half in zip(chosen, self.halves, strict=True)
        ]
        if not all(map(len, chosen)):
            return True
        ones = self._vectors(chosen[0], self.halves[0]) + self.rest
        others = -self._vectors(chosen[1], self.halves[1])
        axes = others.view(float)
        axis = int(np.argmax(axes.std(axis=0)))
        in_order = np.argsort(axes[:, axis], kind="stable")
        others, along = others[in_order], axes[in_order, axis]
        from_, done = ones.view(float)[:, axis], 0
        while done < len(ones):
            if monotonic() > deadline:
                return False
            low = np.searchsorted(along, from_[done:] - self.reach - self.rounding)
            high = np.searchsorted(along, from_[done:] + self.reach + self.rounding, "right")
            counts = high - low
            rows = max(1, int(np.searchsorted(counts.cumsum(), _PAIRS_AT_ONCE, "right")))
            counts, low = counts[:rows], low[:rows]
            left = np.repeat(np.arange(done, done + rows), counts)
            right = np.arange(len(left)) + np.repeat(low - counts.cumsum() + counts, counts)
            amounts = np.abs(ones[left, 0] - others[right, 0])
            for plane in range(1, ones.shape[1]):
                near = amounts <= self.reach + self.rounding
                left, right, amounts = left[near], right[near], amounts[near]
                amounts = np.maximum(amounts, np.abs(ones[left, plane] - others[right, plane]))
            if len(amounts) and (least := float(amounts.min())) <= self.reach + self.rounding:
                near = amounts <= least + self.rounding
                self._take(least, chosen[0][left[near]], chosen[1][in_order[right[near]]])
            done += rows
        return True

    def _vectors(self, chosen: Whole, half: Sequence[int]) -> Vectors:
        """What each order leaves at the planes."""
        return np.ascontiguousarray(self.weights[chosen] @ self.acts[:, list(half)].T)

    def _take(self, least: float, firsts: Whole, others: Whole) -> None:
        """Of ways that leave the same, the one with the fewest sets moved, if it betters the best so far."""
        sets = np.tile(self.fixed, (len(firsts), 1))
        sets[:, self.halves[0]], sets[:, self.halves[1]] = firsts, others
        moved = (sets != np.arange(sets.shape[1])).sum(axis=1)
        fewest = int(moved.argmin())
        if self.best is None or least < self.reach - self.rounding or moved[fewest] < _moved(self.best):
            self.best = sets[fewest].tolist()
        self.reach = min(self.reach, least)


def least_of(pools: Sequence[Sequence[float]], acts: Sequence[Sequence[complex]], rest: Sequence[complex]) -> float:
    """What no way can leave less than, by arithmetic alone: pools: [pool][piece] weights on the crankpins, one of each
    pool to a cylinder; `acts` and `rest` as in `Seats`.

    With |u₁| + |u₂| = 1 the larger of two planes is at least |Re(u₁ z₁ + u₂ z₂)|, and that is the sum of weight × what
    a gram is worth that way: heavy with small is the least it can be, heavy with large the most (rearrangement
    inequality), for each pool by itself. Where zero lies between them for every u that is tried, nothing is known but
    that it is not below zero.
    """
    turns, planes = np.exp(2j * np.pi * np.arange(24) / 24), len(acts)
    alone = [turn * np.eye(planes)[plane] for turn in turns for plane in range(planes)]
    together = [np.array([one, other, *[0] * (planes - 2)]) / 2 for one in turns for other in turns if planes > 1]
    ways = np.array([*alone, *together])
    worth = np.sort((ways @ np.array(acts, dtype=complex)).real, axis=1)
    there = (ways @ np.array(rest, dtype=complex)).real
    weights = [np.sort(np.array(pool, dtype=float)) for pool in pools]
    least = there + sum(worth[:, ::-1] @ pool for pool in weights)
    most = there + sum(worth @ pool for pool in weights)
    return float(np.maximum(least, -most).max(initial=0.0))


def _orders(size: int) -> Whole:
    """Every order of so many things, or, where they are too many, some of them; always the same."""
    if size <= _EVERY_ORDER_OF:
        return np.array(list(permutations(range(size))), dtype=np.intp).reshape(factorial(size), size)
    return np.random.default_rng(0).permuted(np.tile(np.arange(size), (_DRAWN, 1)), axis=1)
