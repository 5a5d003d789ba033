"""The exact search for the most even sums: whole numbers in, sets of parts and a proven bound out."""

from __future__ import annotations

import random
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from time import monotonic

RESTARTS = 60


@dataclass(frozen=True, slots=True)
class Item:
    """A part as the search sees it.

    pools: bit i is set when the part holds a piece of pool i.
    weight: what it adds to a sum [grid steps], at least 0.
    anchored: it is locked to a cylinder, so no other anchored part may join it.
    """

    pools: int
    weight: int
    anchored: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """sets: for each set the places of its items; `spread` is theirs, and no other way has one below `bound`.

    spread, bound: [grid steps].
    settled: how it is known: "nothing" (no choice was left), "opposite" (two lists), "arithmetic" (the total and the
        heaviest and lightest items allow no less), "searched" (all else was ruled out) or "open" (time ran out).
    """

    sets: list[list[int]]
    spread: int
    bound: int
    settled: str


class OutOfTime(Exception):
    """The wall-clock limit was reached inside the search."""


def most_even(items: Sequence[Item], pools: int, deadline: float) -> Outcome | None:
    """Put the items together into sets, one piece of every pool in each, with the smallest spread of their sums.

    spread = heaviest sum - lightest sum. None means that the locks allow no complete pairing at all.
    Raises OutOfTime if not even one pairing that keeps the locks was found by `deadline` (of time.monotonic).

    Two lists (two pools; three pools of which two are locked together, piece by piece; and so on): heaviest with
    lightest is best. Exchange argument: where a1 >= a2 and b1 >= b2 are paired a1+b1, a2+b2, exchanging gives a1+b2
    and a2+b1, which both lie between the old two. So an exchange never raises the heaviest nor lowers the lightest
    sum, and a chain of exchanges leads from any pairing to the opposite sorting: of all pairings it has the lowest
    heaviest and the highest lightest sum at once. Sets that the locks have completed already change nothing in that.
    It does not hold where two pools have pieces locked to different cylinders, since those must not meet: that goes
    to the search.

    Three or more lists: deciding whether spread 0 is possible is numerical three-dimensional matching, which is
    NP-complete (Garey and Johnson 1979, problem SP16), so the search is exact but can run out of time. It asks for
    growing s "is there a pairing with a spread of at most s?" and answers by exact cover: the sets whose sums lie in
    the window [t, t + s], for each t that is the sum of some set and is not above the mean. A "no" for every such t
    raises the bound to s + 1. Only Python's integers are used, so nothing is rounded. Heuristics (opposite sorting of
    one list after another from many starts) only supply the pairing that the search then beats or confirms.
    """
    work = _Work(items, pools)
    start = work.first_sets(deadline)
    if start is None:
        return None
    lists = {kind.shape for kind in work.kinds if kind.shape.pools != work.full}
    if not lists:
        return work.outcome(start, work.spread(start), "nothing")
    work.even_out(start)
    if len(lists) == 2:
        return work.outcome(start, work.spread(start), "opposite")
    return work.search(start, deadline)


@dataclass(frozen=True, slots=True, order=True)
class _Shape:
    """Items of one shape can change places: they fill the same pools and keep the same company."""

    pools: int
    anchored: bool


@dataclass(frozen=True, slots=True)
class _Kind:
    """Items of one shape and one weight: for the sums there is nothing to tell them apart."""

    shape: _Shape
    weight: int
    items: tuple[int, ...]


Sets = list[list[int]]  # the kinds in each set


class _Work:
    def __init__(self, items: Sequence[Item], pools: int) -> None:
        self.full = (1 << pools) - 1
        # That an item is anchored matters only where it could meet another such item in one set.
        anchored = {item.pools for item in items if item.anchored}
        can_meet = any(one & two == 0 for one in anchored for two in anchored)
        alike: dict[tuple[_Shape, int], list[int]] = {}
        for place, item in enumerate(items):
            shape = _Shape(item.pools, item.anchored and can_meet)
            alike.setdefault((shape, item.weight), []).append(place)
        self.kinds = [_Kind(shape, weight, tuple(each)) for (shape, weight), each in sorted(alike.items())]
        self.count = sum(item.pools & 1 for item in items)
        self.total = sum(item.weight for item in items)
        self.heaviest = [max(item.weight for item in items if item.pools >> pool & 1) for pool in range(pools)]

    def sum_of(self, kinds: Sequence[int]) -> int:
        return sum(self.kinds[kind].weight for kind in kinds)

    def spread(self, sets: Sets) -> int:
        sums = [self.sum_of(each) for each in sets]
        return max(sums) - min(sums)

    def outcome(self, sets: Sets, bound: int, settled: str) -> Outcome:
        left = [list(kind.items) for kind in self.kinds]
        named = [[left[kind].pop(0) for kind in each] for each in sets]
        return Outcome(named, self.spread(sets), bound, settled)

    def first_sets(self, deadline: float) -> Sets | None:
        """Any sets that keep the locks; None if there are none."""
        if all(kind.shape.pools.bit_count() == 1 and not kind.shape.anchored for kind in self.kinds):
            lists: dict[int, list[int]] = {}
            for place, kind in enumerate(self.kinds):
                lists.setdefault(kind.shape.pools, []).extend([place] * len(kind.items))
            return [list(each) for each in zip(*lists.values(), strict=True)]
        cover = _Cover(self, 0, self.total)
        return cover.sets_within(cover.sums[0], cover.sums[-1], None, deadline) if cover.sums else None

    def even_out(self, sets: Sets) -> None:
        """Sort each list opposite to the sums of the rest, in turn, until nothing changes.

        With the rest as it is, opposite sorting has the smallest spread and the smallest sum of squares
        (rearrangement inequality); the falling sum of squares makes this end.
        """
        squares = -1
        while squares != (squares := sum(self.sum_of(each) ** 2 for each in sets)):
            for holders in self._holders(sets):
                kinds = sorted((each[place] for each, place in holders), key=lambda kind: -self.kinds[kind].weight)
                holders.sort(key=lambda holder: self.sum_of(holder[0]) - self.kinds[holder[0][holder[1]]].weight)
                for (each, place), kind in zip(holders, kinds, strict=True):
                    each[place] = kind

    def shuffled(self, sets: Sets, chance: random.Random) -> Sets:
        sets = [list(each) for each in sets]
        for holders in self._holders(sets):
            kinds = [each[place] for each, place in holders]
            chance.shuffle(kinds)
            for (each, place), kind in zip(holders, kinds, strict=True):
                each[place] = kind
        return sets

    def _holders(self, sets: Sets) -> list[list[tuple[list[int], int]]]:
        """For each shape, the sets that hold an item of it, with the item's place in the set."""
        holders: dict[_Shape, list[tuple[list[int], int]]] = {}
        for each in sets:
            for place, kind in enumerate(each):
                holders.setdefault(self.kinds[kind].shape, []).append((each, place))
        return [holders[shape] for shape in sorted(holders)]

    def bound(self) -> int:
        """The spread that no pairing can go below, by arithmetic alone.

        Sums are whole, so the heaviest is at least the mean rounded up and the lightest at most the mean rounded
        down. The heaviest is also at least any one item, and the lightest at most what the heaviest of all
        other pools add up to (the weight of each pool's lightest piece is at least 0).
        """
        heaviest_sum = max(-(-self.total // self.count), *self.heaviest)
        lightest_sum = self.total // self.count
        for pool, own in enumerate(self.heaviest):
            lightest = min(kind.weight for kind in self.kinds if kind.shape.pools >> pool & 1)
            lightest_sum = min(lightest_sum, lightest + sum(self.heaviest) - own)
        return heaviest_sum - lightest_sum

    def search(self, best: Sets, deadline: float) -> Outcome:
        lower, upper = self.bound(), self.spread(best)
        chance = random.Random(0)
        for _ in range(RESTARTS):
            if upper == lower:
                break
            tried = self.shuffled(best, chance)
            self.even_out(tried)
            if self.spread(tried) < upper:
                best, upper = tried, self.spread(tried)
        if lower == upper:
            return self.outcome(best, lower, "arithmetic")
        cover = _Cover(self, self.total // self.count - upper, -(-self.total // self.count) + upper)
        try:
            while lower < upper:
                asked = min(upper - 1, lower + lower // 4)
                found = cover.spread_at_most(asked, deadline)
                if found is None:
                    lower = asked + 1
                else:
                    best, upper = found, self.spread(found)
        except OutOfTime:
            return self.outcome(best, lower, "open")
        return self.outcome(best, lower, "searched")


class _Cover:
    """Exact cover of all kinds, each as often as it has items, by the sets whose sums lie in a window.

    The sets are sorted by sum and numbered; a choice of sets is an integer with one bit for each.
    """

    def __init__(self, work: _Work, lowest: int, highest: int) -> None:
        made = sorted(_possible_sets(work, lowest, highest))
        self.work = work
        self.sums = [total for total, _ in made]
        self.kinds_in = [kinds for _, kinds in made]
        self.holding = [0] * len(work.kinds)
        for place, kinds in enumerate(self.kinds_in):
            for kind in kinds:
                self.holding[kind] |= 1 << place
        self.refused: dict[int, int] = {}  # lightest sum -> the widest spread that was found impossible with it

    def spread_at_most(self, spread: int, deadline: float) -> Sets | None:
        """Sets with no more than this spread, or None if there are none."""
        total, count, sums = self.work.total, self.work.count, self.sums
        first, last = bisect_left(sums, -(-total // count) - spread), bisect_right(sums, total // count)
        # The windows round the mean hold the most pairings, so a "yes" is found soonest there.
        starts = sorted(set(sums[first:last]), key=lambda start: (abs((2 * start + spread) * count - 2 * total), start))
        for start in starts:
            if self.refused.get(start, -1) >= spread:
                continue
            found = self.sets_within(start, start + spread, start, deadline)
            if found is not None:
                return found
            self.refused[start] = spread
        return None

    def sets_within(self, low: int, high: int, lightest: int | None, deadline: float) -> Sets | None:
        """Sets with all sums from low to high, and one exactly `lightest` if given; None if there are none.

        Depth first, always on the kind with the fewest sets left that could hold it. What can still be done depends
        only on what is left over, so every leftover that failed is remembered and not tried again.
        """
        sums, kinds_in, holding = self.sums, self.kinds_in, self.holding
        left = [len(kind.items) for kind in self.work.kinds]
        chosen: list[int] = []
        failed: set[tuple[bytes, bool]] = set()

        def cover(live: int, low: int, high: int, rest: int, count: int, must: int) -> bool:
            """Cover what is left, of weight `rest`, with `count` sets out of `live`, one of them out of `must`."""
            if count == 0:
                return True
            if monotonic() > deadline:
                raise OutOfTime
            # The other sets weigh at most `high` and at least `low` each, which narrows the range for any one.
            low, high = max(low, rest - (count - 1) * high), min(high, rest - (count - 1) * low)
            if low > high:
                return False
            first = bisect_left(sums, low)
            live = (live & ((1 << bisect_right(sums, high)) - 1)) >> first << first
            choices, fewest = (live & must, (live & must).bit_count()) if must else (0, len(sums) + 1)
            for kind, number in enumerate(left):
                if number:
                    able = live & holding[kind]
                    size = able.bit_count()
                    if size < fewest:
                        choices, fewest = able, size
            leftover = (bytes(left), bool(must))
            if fewest == 0 or leftover in failed:
                return False
            while choices:
                bit = choices & -choices
                choices ^= bit
                place = bit.bit_length() - 1
                then = live
                for kind in kinds_in[place]:
                    left[kind] -= 1
                    if left[kind] == 0:
                        then &= ~holding[kind]
                chosen.append(place)
                if cover(then, low, high, rest - sums[place], count - 1, 0 if must & bit else must):
                    return True
                chosen.pop()
                for kind in kinds_in[place]:
                    left[kind] += 1
            failed.add(leftover)
            return False

        first, last = bisect_left(sums, low), bisect_right(sums, high)
        live = (1 << last) - (1 << first)
        must = (1 << bisect_right(sums, lightest)) - (1 << first) if lightest is not None else 0
        if not cover(live, low, high, self.work.total, self.work.count, must):
            return None
        return [list(kinds_in[place]) for place in chosen]


def _possible_sets(work: _Work, lowest: int, highest: int) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Every set that the locks allow with a sum from lowest to highest, as (sum, kinds)."""
    # A set is made by always filling its first empty pool, so each is made once.
    by_first_pool: dict[int, dict[_Shape, list[tuple[int, int]]]] = {}
    for place, kind in enumerate(work.kinds):
        lists = by_first_pool.setdefault(kind.shape.pools & -kind.shape.pools, {})
        lists.setdefault(kind.shape, []).append((kind.weight, place))

    def fill(held: int, anchored: bool, total: int, kinds: tuple[int, ...]) -> Iterator[tuple[int, tuple[int, ...]]]:
        for shape, choices in by_first_pool.get(~held & (held + 1), {}).items():
            if shape.pools & held or (shape.anchored and anchored):
                continue
            if held | shape.pools == work.full:
                first = bisect_left(choices, (lowest - total, -1))
                last = bisect_right(choices, (highest - total, len(work.kinds)))
                for weight, place in choices[first:last]:
                    yield total + weight, (*kinds, place)
            else:
                for weight, place in choices:
                    yield from fill(held | shape.pools, anchored or shape.anchored, total + weight, (*kinds, place))

    return fill(0, False, 0, ())
