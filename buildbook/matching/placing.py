"""Which set goes into which cylinder: the evenest big ends per throw first, then the fewest pieces moved."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from time import monotonic

GROUPS_LOOKED_AT = 50_000
GROUPINGS_PLACED = 1_000
_IMPOSSIBLE = 1_000_000
_BEYOND_ALL = 1 << 60

Where = list[list[int]]  # [pool][cylinder] -> piece


@dataclass(frozen=True, slots=True)
class Bench:
    """What is known of the pieces; pieces, pools, cylinders and throws are numbered from 0.

    weights: [pool][piece] in grid steps.
    held: [pool][piece] -> bits of the pools whose pieces it is locked together with, its own included.
    anchors: [pool][piece] -> the cylinder it is locked to, or None.
    homes: [pool][piece] -> the cylinder it is in now, or None.
    rods: the place of the rod pool; big_ends: [rod], whole steps; throws: [cylinder] -> throw. Big ends are left out
    of account when `big_ends` is empty.
    """

    weights: list[list[int]]
    held: list[list[int]]
    anchors: list[list[int | None]]
    homes: list[list[int | None]]
    rods: int = 0
    big_ends: list[int] = field(default_factory=list)
    throws: list[int] = field(default_factory=list)

    @property
    def count(self) -> int:
        return len(self.weights[0])

    def spread(self, where: Where) -> int:
        sums = [sum(self.weights[pool][pieces[c]] for pool, pieces in enumerate(where)) for c in range(self.count)]
        return max(sums) - min(sums)

    def throw_spread(self, where: Where) -> int:
        """Heaviest minus lightest big-end sum per throw, 0 where big ends are left out of account."""
        if not self.big_ends:
            return 0
        sums = [0] * (max(self.throws) + 1)
        for throw, rod in zip(self.throws, where[self.rods], strict=True):
            sums[throw] += self.big_ends[rod]
        return max(sums) - min(sums)

    def moved(self, where: Where) -> int:
        """Pieces that are in another cylinder than now."""
        return sum(
            self.homes[pool][piece] not in (None, cylinder)
            for pool, pieces in enumerate(where)
            for cylinder, piece in enumerate(pieces)
        )


@dataclass(frozen=True, slots=True)
class Aim:
    """The best there is [steps], and how much worse than that is no worse, since no scale could tell."""

    spread: int
    tie: int
    throw_spread: int
    throw_tie: int


Key = tuple[int, int, int, int, int]


def key(bench: Bench, aim: Aim, where: Where) -> Key:
    """What is compared, smaller being better: the spread and then the big ends beyond what cannot be told from the
    best, then the pieces moved, then spread and big ends themselves."""
    spread, throw_spread = bench.spread(where), bench.throw_spread(where)
    beyond = max(0, spread - aim.spread - aim.tie), max(0, throw_spread - aim.throw_spread - aim.throw_tie)
    return (*beyond, bench.moved(where), spread, throw_spread)


def assign(cost: Sequence[Sequence[int]]) -> list[int]:
    """The column for each row with the smallest total cost: the assignment problem, square, exact.

    Shortest augmenting paths with potentials (the Hungarian method), O(n^3). scipy.optimize has the same, but its
    import alone takes longer than matching an engine.
    """
    size = len(cost)
    row_price, column_price = [0] * (size + 1), [0] * (size + 1)
    row_of = [size] * (size + 1)  # the extra column holds the row being placed
    for row in range(size):
        row_of[size], column = row, size
        nearest = [_BEYOND_ALL] * size
        came_from = [size] * size
        done = [False] * (size + 1)
        while True:
            done[column] = True
            here = row_of[column]
            step, following = _BEYOND_ALL, size
            for other in range(size):
                if done[other]:
                    continue
                reduced = cost[here][other] - row_price[here] - column_price[other]
                if reduced < nearest[other]:
                    nearest[other], came_from[other] = reduced, column
                if nearest[other] < step:
                    step, following = nearest[other], other
            for other in range(size + 1):
                if done[other]:
                    row_price[row_of[other]] += step
                    column_price[other] -= step
                elif other < size:
                    nearest[other] -= step
            column = following
            if row_of[column] == size:
                break
        while column != size:
            row_of[column] = row_of[came_from[column]]
            column = came_from[column]
    columns = [0] * size
    for column in range(size):
        columns[row_of[column]] = column
    return columns


def evenest_throws(bench: Bench) -> int:
    """The smallest spread of big-end sums per throw that any placing of the rods can have [steps].

    Which sets the rods belong to does not matter: it depends only on which rods share a throw. Two rods on every
    throw and none locked to a cylinder: heaviest with lightest is best, as in `most_even`. Otherwise every way of
    sharing out the rods is looked at, up to GROUPS_LOOKED_AT partial ones, which is all of them for 8 cylinders
    however their throws are laid out, and for 12 in twos, threes or fours; beyond that, the best found.
    Pieces other than rods that are locked to a cylinder may make the value unreachable.
    """
    if not bench.big_ends:
        return 0
    throws = _Throws(bench, bench.big_ends, bench.anchors[bench.rods])
    in_order = sorted(bench.big_ends)
    if all(size == 2 for size in throws.sizes) and not any(throw is not None for throw in throws.locked):
        sums = [light + heavy for light, heavy in zip(in_order, reversed(in_order), strict=True)]
        return max(sums) - min(sums)
    best = throws.evenest()
    return 0 if best is None else best


def place(bench: Bench, sets: Sequence[Sequence[int]], aim: Aim) -> Where:
    """Put the sets, each the pieces [pool] of one cylinder, where the fewest pieces move.

    Without big ends this is an assignment problem and exact. With big ends, it is an assignment problem for
    each way of sharing the sets out among the throws that keeps within the aim; all of these are solved
    (exact), or the first GROUPINGS_PLACED of them, which are all there can be for 8 cylinders. Pieces
    that no weighing can tell apart count as one another here; `improve` then puts each back where it is now.
    """
    cylinders = range(bench.count)
    anchors = [
        next((a for pool, piece in enumerate(each) if (a := bench.anchors[pool][piece]) is not None), None)
        for each in sets
    ]
    now = [{home: piece for piece, home in enumerate(homes)} for homes in bench.homes]

    def stays(pool: int, piece: int, cylinder: int) -> bool:
        if bench.homes[pool][piece] in (None, cylinder):
            return True
        there = now[pool].get(cylinder)
        return there is not None and _alike(bench, pool, piece, there)

    cost = [
        [
            sum(not stays(pool, piece, cylinder) for pool, piece in enumerate(each))
            if anchor in (None, cylinder)
            else _IMPOSSIBLE
            for cylinder in cylinders
        ]
        for each, anchor in zip(sets, anchors, strict=True)
    ]

    def placed(columns: Sequence[int]) -> Where:
        where = [[0] * bench.count for _ in bench.weights]
        for each, cylinder in zip(sets, columns, strict=True):
            for pool, piece in enumerate(each):
                where[pool][cylinder] = piece
        return where

    columns = assign(cost)
    widest = aim.throw_spread + aim.throw_tie
    if not bench.big_ends or bench.throw_spread(placed(columns)) <= widest:
        return placed(columns)
    throws = _Throws(bench, [bench.big_ends[each[bench.rods]] for each in sets], anchors)
    if any(anchor is not None for anchor in anchors) and (evenest := throws.evenest()) is not None:
        widest = max(widest, evenest + aim.throw_tie)
    least = sum(cost[row][column] for row, column in enumerate(columns))
    fewest = _IMPOSSIBLE
    for tried, (_, groups) in enumerate(throws.groupings([widest])):
        total, seats = throws.seat(groups, cost)
        if total < fewest:
            fewest, columns = total, seats
        if fewest == least or tried == GROUPINGS_PLACED:
            break
    return placed(columns)


def improve(bench: Bench, where: Where, aim: Aim, deadline: float) -> Where:
    """Exchange the same pieces of two cylinders, whichever exchange helps most, until none helps or time is up.

    This is what keeps pieces where they are when a pairing that moves fewer cannot be told from the best. It
    is not exact: there can be a pairing that moves fewer pieces still and is more than one exchange away.
    """
    where = [list(pieces) for pieces in where]
    best = key(bench, aim, where)
    while (best[2] > 0 or best[:2] != (0, 0)) and monotonic() < deadline:
        better = None
        for pools, one, two in _exchanges(bench, where):
            if best[:2] == (0, 0) and _moved_by(bench, where, pools, one, two) > 0:
                continue
            _exchange(where, pools, one, two)
            found = key(bench, aim, where)
            _exchange(where, pools, one, two)
            if found < best:
                best, better = found, (pools, one, two)
        if better is None:
            break
        _exchange(where, *better)
    return where


def _alike(bench: Bench, pool: int, one: int, two: int) -> bool:
    """Whether the pieces could change places without any sum, throw or lock noticing."""
    free = all(bench.held[pool][each] == 1 << pool and bench.anchors[pool][each] is None for each in (one, two))
    big_ends_alike = pool != bench.rods or not bench.big_ends or bench.big_ends[one] == bench.big_ends[two]
    return one == two or (free and big_ends_alike and bench.weights[pool][one] == bench.weights[pool][two])


def _exchanges(bench: Bench, where: Where) -> Iterator[tuple[list[int], int, int]]:
    """Every exchange between two cylinders of the pieces of some pools that keeps the locks, as (pools, one, two)."""
    every_pool = range(len(where))
    choices = [(bits, [pool for pool in every_pool if bits >> pool & 1]) for bits in range(1, 1 << len(where))]
    locks = [
        [(pool, held) for pool in every_pool if (held := bench.held[pool][where[pool][c]]) != 1 << pool]
        for c in range(bench.count)
    ]
    fixed = [
        sum(1 << pool for pool in every_pool if bench.anchors[pool][where[pool][c]] is not None)
        for c in range(bench.count)
    ]
    for one, two in combinations(range(bench.count), 2):
        for bits, pools in choices:
            if bits & (fixed[one] | fixed[two]):
                continue
            if all(not bits >> pool & 1 or held & ~bits == 0 for pool, held in locks[one] + locks[two]):
                yield pools, one, two


def _exchange(where: Where, pools: Sequence[int], one: int, two: int) -> None:
    for pool in pools:
        where[pool][one], where[pool][two] = where[pool][two], where[pool][one]


def _moved_by(bench: Bench, where: Where, pools: Sequence[int], one: int, two: int) -> int:
    """How many more pieces are away from where they are now after the exchange."""
    more = 0
    for pool in pools:
        for piece, before, after in ((where[pool][one], one, two), (where[pool][two], two, one)):
            home = bench.homes[pool][piece]
            more += (home == before) - (home == after)
    return more


class _Throws:
    """The sharing out of weights (rods, or sets by their rods) among the throws."""

    def __init__(self, bench: Bench, weights: Sequence[int], anchors: Sequence[int | None]) -> None:
        self.cylinders: list[list[int]] = [[] for _ in range(max(bench.throws) + 1)]
        for cylinder, throw in enumerate(bench.throws):
            self.cylinders[throw].append(cylinder)
        self.sizes = sorted(len(each) for each in self.cylinders)
        self.weights = weights
        self.locked = [None if anchor is None else bench.throws[anchor] for anchor in anchors]
        self.seats_allowed = [
            [0 if anchor in (None, cylinder) else _IMPOSSIBLE for cylinder in range(bench.count)] for anchor in anchors
        ]

    def groupings(self, widest: list[int]) -> Iterator[tuple[int, list[tuple[int, ...]]]]:
        """Each way of sharing out with a spread of at most widest[0], which may be lowered on the way."""
        mean = sum(self.weights) / len(self.weights)
        looked_at = 0

        def share(left: list[int], sizes: list[int], sums: list[int]) -> Iterator[list[tuple[int, ...]]]:
            nonlocal looked_at
            if not left:
                yield []
                return
            first, others = left[0], left[1:]
            groups = [(first, *more) for size in set(sizes) for more in combinations(others, size - 1)]
            totals = {group: sum(self.weights[each] for each in group) for group in groups}
            groups.sort(key=lambda group: (abs(totals[group] - mean * len(group)), group))
            for group in groups:
                looked_at += 1
                if looked_at > GROUPS_LOOKED_AT:
                    return
                so_far = [*sums, totals[group]]
                if max(so_far) - min(so_far) > widest[0]:
                    continue
                if len({self.locked[each] for each in group} - {None}) > 1:
                    continue
                sizes_left = list(sizes)
                sizes_left.remove(len(group))
                for rest in share([each for each in others if each not in group], sizes_left, so_far):
                    yield [group, *rest]

        heavy_first = sorted(range(len(self.weights)), key=lambda each: -self.weights[each])
        for groups in share(heavy_first, self.sizes, []):
            sums = [sum(self.weights[each] for each in group) for group in groups]
            if max(sums) - min(sums) <= widest[0]:
                yield max(sums) - min(sums), groups

    def evenest(self) -> int | None:
        """The smallest spread of any sharing out that keeps the locks; None if none was found."""
        best: int | None = None
        widest = [sum(self.weights)]
        for spread, groups in self.groupings(widest):
            if self.seat(groups, self.seats_allowed)[0] < _IMPOSSIBLE:
                best = spread
                if spread == 0:
                    break
                widest[0] = spread - 1
        return best

    def seat(self, groups: Sequence[tuple[int, ...]], cost: Sequence[Sequence[int]]) -> tuple[int, list[int]]:
        """The least total cost of putting each group onto a throw of its size, and the cylinder for each member."""
        seats: dict[tuple[int, int], list[int]] = {}
        totals = [[_IMPOSSIBLE * len(cost)] * len(self.cylinders) for _ in groups]
        for row, group in enumerate(groups):
            for throw, cylinders in enumerate(self.cylinders):
                if len(cylinders) == len(group):
                    inner = [[cost[each][cylinder] for cylinder in cylinders] for each in group]
                    columns = assign(inner)
                    seats[row, throw] = [cylinders[column] for column in columns]
                    totals[row][throw] = sum(inner[each][column] for each, column in enumerate(columns))
        throw_of = assign(totals)
        cylinder_of = [0] * len(cost)
        for row, throw in enumerate(throw_of):
            for each, cylinder in zip(groups[row], seats[row, throw], strict=True):
                cylinder_of[each] = cylinder
        return sum(totals[row][throw] for row, throw in enumerate(throw_of)), cylinder_of
