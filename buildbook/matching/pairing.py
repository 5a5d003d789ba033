"""`match`: the pairing with the most even sums, proven, and of equals the one with the least disturbance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import gcd, lcm
from time import monotonic

from buildbook.matching import placing
from buildbook.matching.problem import MatchingError, Part, Pool, Problem, check, parts_of, places_now
from buildbook.matching.search import Item, Outcome, OutOfTime, most_even

SHARE_FOR_THE_SEARCH = 0.8


@dataclass(frozen=True, slots=True)
class Matching:
    """A pairing and what is known about it; all weights in [g], exact.

    cylinders: cylinder -> {pool name: piece id}.
    sums: cylinder -> sum of its pieces; spread: heaviest minus lightest of them.
    as_numbered_spread: with each pool's i-th piece in the i-th cylinder.
    sorted_spread: by simple opposite sorting, the first two pools heaviest with lightest and each further pool
        onto the sums so far, locks not regarded: what is done by hand, and for three pools or more not the best.
    best: the smallest spread that was found. `spread` differs from it only where the pieces stay as they are now
        because that is within `tie` of it.
    bound: no pairing that keeps the locks has a smaller spread than this.
    proven: best == bound.
    how: how it is known, in a sentence or two.
    throw_spread: heaviest minus lightest big-end sum per throw; None without throws, big ends or a pool "rod".
    moved: pieces that go into another cylinder than they are in now.
    """

    cylinders: Mapping[str, Mapping[str, str]]
    sums: Mapping[str, Fraction]
    spread: Fraction
    as_numbered_spread: Fraction
    sorted_spread: Fraction
    best: Fraction
    bound: Fraction
    proven: bool
    how: str
    throw_spread: Fraction | None
    moved: int


def match(problem: Problem, *, seconds: float = 10.0) -> Matching:
    """Find the pairing with the smallest spread of the sums per cylinder, and place it.

    seconds: wall clock limit [s]; when it runs out, the best pairing found and its bound are returned, `proven` False.
    Raises MatchingError when the problem contradicts itself, or no pairing that keeps the locks was found in time.

    The spread: see `most_even`. Exact for any number of pools, with locks, unless time runs out.

    If the pieces as they are now are within `tie` of the best spread, and their big ends per throw within
    `big_end_tie` of the evenest, nothing moves: no scale could tell the difference. Otherwise the spread is the
    smallest there is; of the pairings that have it, the one with the evenest big ends per throw is taken (differences
    within `big_end_tie` are no differences), then the one that moves the fewest pieces. What is exact in this:
    the big ends, as `evenest_throws` says, unless a piece other than a rod is locked to a cylinder: then exact for the
    sets chosen. The pieces moved: the fewest for the sets first found, as `place` says; other pairings with the same
    spread are tried one exchange after another (`improve`), so a pairing with fewer moves still may exist.
    """
    began = monotonic()
    deadline = began + seconds
    check(problem)
    parts = parts_of(problem)
    homes = places_now(problem)
    weights, step = _in_steps([list(pool.pieces.values()) for pool in problem.pools])
    weights = [[weight - min(pool) for weight in pool] for pool in weights]
    items = [
        Item(
            pools=sum(1 << pool for pool in part.pieces),
            weight=sum(weights[pool][piece] for pool, piece in part.pieces.items()),
            anchored=part.cylinder is not None,
        )
        for part in parts
    ]
    try:
        outcome = most_even(items, len(problem.pools), began + SHARE_FOR_THE_SEARCH * seconds)
    except OutOfTime:
        raise MatchingError("no pairing that keeps every lock was found in the time allowed") from None
    if outcome is None:
        raise MatchingError("the locks cannot all be kept: no pairing of the pieces satisfies them together")

    bench, big_end_step = _bench(problem, parts, weights, homes)
    aim = placing.Aim(
        spread=outcome.spread,
        tie=problem.tie // step,
        throw_spread=placing.evenest_throws(bench),
        throw_tie=problem.big_end_tie // big_end_step,
    )
    where = _least_disturbed(bench, parts, outcome, aim, deadline)
    if (reached := bench.throw_spread(where)) > aim.throw_spread + aim.throw_tie:
        # The locks keep the big ends from being as even as the rods alone allow: count from what was reached.
        where = _least_disturbed(bench, parts, outcome, replace(aim, throw_spread=reached), deadline)
    return _matching(problem, bench, outcome, where, step, big_end_step)


def _in_steps(pools: Sequence[Sequence[Fraction]]) -> tuple[list[list[int]], Fraction]:
    """Each weight as a whole number of steps from a point of its pool's own, and the largest step that does so [g].

    The steps are those by which weights of one pool differ, so a scale's resolution is found however the weights lie
    to the grid, and means of several readings only make the steps smaller.
    """
    parts = lcm(*(weight.denominator for pool in pools for weight in pool))
    whole = [[int(weight * parts) for weight in pool] for pool in pools]
    step = gcd(*(weight - pool[0] for pool in whole for weight in pool)) or 1
    return [[(weight - pool[0]) // step for weight in pool] for pool in whole], Fraction(step, parts)


def _bench(
    problem: Problem, parts: Sequence[Part], weights: list[list[int]], homes: list[list[int | None]]
) -> tuple[placing.Bench, Fraction]:
    """The pieces as `placing` wants them, and the step of its big ends [g]."""
    pools = range(len(problem.pools))
    held = [[0] * len(problem.cylinders) for _ in pools]
    anchors: list[list[int | None]] = [[None] * len(problem.cylinders) for _ in pools]
    for part in parts:
        for pool, piece in part.pieces.items():
            held[pool][piece] = sum(1 << each for each in part.pieces)
            anchors[pool][piece] = part.cylinder
    rods = next((place for place, pool in enumerate(problem.pools) if pool.name == "rod"), None)
    if rods is None or not problem.big_ends or not problem.throws:
        return placing.Bench(weights, held, anchors, homes), Fraction(1)
    big_ends = [problem.big_ends[rod] for rod in problem.pools[rods].pieces]
    step = Fraction(1, lcm(*(weight.denominator for weight in big_ends)))
    names = list(dict.fromkeys(problem.throws[cylinder] for cylinder in problem.cylinders))
    throws = [names.index(problem.throws[cylinder]) for cylinder in problem.cylinders]
    whole = [int(weight / step) for weight in big_ends]
    return placing.Bench(weights, held, anchors, homes, rods, whole, throws), step


def _least_disturbed(
    bench: placing.Bench, parts: Sequence[Part], outcome: Outcome, aim: placing.Aim, deadline: float
) -> placing.Where:
    """How things are, where no scale could tell it from the best; else the placing with the smallest `placing.key`
    of those that start from the best sets and from how things are."""
    now = _as_now(bench)
    lawful = _keeps_locks(parts, now)
    if lawful and placing.key(bench, aim, now)[:3] == (0, 0, 0):
        return now
    aim = replace(aim, tie=0)
    sets = []
    for each in outcome.sets:
        pieces = {pool: piece for item in each for pool, piece in parts[item].pieces.items()}
        sets.append([pieces[pool] for pool in range(len(bench.weights))])
    starts = [placing.place(bench, sets, aim), *([now] if lawful else [])]
    ends = [placing.improve(bench, start, aim, deadline) for start in starts]
    return min(ends, key=lambda where: placing.key(bench, aim, where))


def _as_now(bench: placing.Bench) -> placing.Where:
    """The pieces as they are now; those that are nowhere fill the gaps in order."""
    where = []
    for homes in bench.homes:
        nowhere = iter([piece for piece, home in enumerate(homes) if home is None])
        there = {home: piece for piece, home in enumerate(homes) if home is not None}
        where.append([there[c] if c in there else next(nowhere) for c in range(bench.count)])
    return where


def _keeps_locks(parts: Sequence[Part], where: placing.Where) -> bool:
    for part in parts:
        cylinders = {where[pool].index(piece) for pool, piece in part.pieces.items()}
        if len(cylinders) > 1 or part.cylinder not in (None, *cylinders):
            return False
    return True


def _matching(
    problem: Problem,
    bench: placing.Bench,
    outcome: Outcome,
    where: placing.Where,
    step: Fraction,
    big_end_step: Fraction,
) -> Matching:
    ids = [list(pool.pieces) for pool in problem.pools]
    cylinders = {
        cylinder: {pool.name: ids[p][where[p][c]] for p, pool in enumerate(problem.pools)}
        for c, cylinder in enumerate(problem.cylinders)
    }
    sums = {
        cylinder: sum((pool.pieces[cylinders[cylinder][pool.name]] for pool in problem.pools), Fraction(0))
        for cylinder in problem.cylinders
    }
    spread = _spread(list(sums.values()))
    best, bound = min(outcome.spread * step, spread), outcome.bound * step
    weights = [list(pool.pieces.values()) for pool in problem.pools]
    return Matching(
        cylinders=cylinders,
        sums=sums,
        spread=spread,
        as_numbered_spread=_spread([sum(each, Fraction(0)) for each in zip(*weights, strict=True)]),
        sorted_spread=_spread(_opposite_sorting(problem.pools)),
        best=best,
        bound=bound,
        proven=best == bound,
        how=_how(outcome.settled, len(problem.pools), spread, best, bound, step),
        throw_spread=bench.throw_spread(where) * big_end_step if bench.big_ends else None,
        moved=bench.moved(where),
    )


def _spread(sums: Sequence[Fraction]) -> Fraction:
    return max(sums) - min(sums)


def _opposite_sorting(pools: Sequence[Pool]) -> list[Fraction]:
    first, *others = (list(pool.pieces.values()) for pool in pools)
    sums = first
    for weights in others:
        sums = [a + b for a, b in zip(sorted(sums), sorted(weights, reverse=True), strict=True)]
    return sums


def _how(settled: str, pools: int, spread: Fraction, best: Fraction, bound: Fraction, step: Fraction) -> str:
    if best == bound and settled == "open":
        settled = "arithmetic"
    known = {
        "nothing": "One piece to a cylinder: the spread is what it is, whatever goes where."
        if pools == 1
        else "The locks leave one way only to make up the sets, so the spread is what it is.",
        "opposite": "There are two lists to pair, and then heaviest with lightest is as even as it can be.",
        "arithmetic": f"The total weight, the steps of {_grams(step)} in which the weights come, and the heaviest and "
        f"lightest pieces allow no spread below {_grams(bound)}, and {_grams(best)} was reached.",
        "searched": f"An exact search ruled out every pairing with a spread below {_grams(best)}.",
        "open": f"The time allowed ran out: {_grams(best)} is the best found, and it is certain only that no "
        f"spread is below {_grams(bound)}.",
    }[settled]
    if spread > best:
        known += (
            f" The pieces as they are now come within {_grams(spread)}, which no scale could tell from that, "
            "so nothing is moved."
        )
    return known


def _grams(weight: Fraction) -> str:
    return f"{float(weight):.4f}".rstrip("0").rstrip(".") + " g"
