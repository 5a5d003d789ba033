"""`match` against solvers that share nothing with it, and the promises of its docstring."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matching_solvers import (
    assert_holds,
    random_problem,
    smallest_spread_by_milp,
    smallest_spread_by_trying_all,
)

from buildbook.matching import Lock, MatchingError, Pool, Problem, match, search

grams = st.fractions(min_value=0, max_value=900, max_denominator=30)


def pool(name: str, weights: list[Fraction]) -> Pool:
    return Pool(name, {f"{name}-{place}": weight for place, weight in enumerate(weights, 1)})


@st.composite
def problems(draw: st.DrawFn, pools: int = 3, most: int = 5) -> Problem:
    count = draw(st.integers(1, most))
    lists = [draw(st.lists(grams, min_size=count, max_size=count)) for _ in range(pools)]
    names = ("rod", "piston", "pin", "ring_set")
    return Problem(
        cylinders=tuple(str(c + 1) for c in range(count)),
        pools=tuple(pool(name, weights) for name, weights in zip(names, lists, strict=False)),
    )


# --- the smallest spread -------------------------------------------------------------------------------------------


@given(problems(pools=2, most=6))
def test_heaviest_with_lightest_is_as_even_as_trying_every_pairing(problem: Problem) -> None:
    first, second = (list(each.pieces.values()) for each in problem.pools)
    every = [[a + b for a, b in zip(first, order, strict=True)] for order in permutations(second)]
    matching = match(problem)
    assert matching.spread == min(max(sums) - min(sums) for sums in every)
    assert matching.spread == matching.sorted_spread
    assert matching.proven
    assert_holds(problem, matching)


@pytest.mark.parametrize(("cylinders", "pools", "cases"), [(2, 3, 20), (3, 3, 60), (4, 3, 80), (5, 3, 60), (4, 4, 30)])
def test_three_and_four_pools_are_as_even_as_trying_everything(cylinders: int, pools: int, cases: int) -> None:
    chance = random.Random(cylinders * 10 + pools)
    for _ in range(cases):
        problem = random_problem(chance, cylinders, pools)
        matching = match(problem)
        assert matching.proven
        assert matching.bound == matching.spread == smallest_spread_by_trying_all(problem)
        assert_holds(problem, matching)


@pytest.mark.parametrize(
    ("cylinders", "pools", "locks", "cases"),
    [(4, 2, 2, 60), (5, 2, 3, 60), (3, 3, 2, 60), (4, 3, 1, 60), (4, 3, 2, 60), (4, 3, 4, 60), (3, 4, 2, 30)],
)
def test_locked_pieces_stay_and_the_rest_is_as_even_as_trying_everything(
    cylinders: int, pools: int, locks: int, cases: int
) -> None:
    chance = random.Random(1000 * cylinders + 100 * pools + locks)
    for _ in range(cases):
        problem = random_problem(chance, cylinders, pools, locks)
        matching = match(problem)
        assert matching.proven
        assert matching.bound == matching.spread == smallest_spread_by_trying_all(problem)
        assert_holds(problem, matching)


@pytest.mark.parametrize(("cylinders", "pools", "locks", "cases"), [(6, 3, 0, 8), (7, 3, 3, 4), (5, 4, 2, 3)])
def test_larger_engines_are_as_even_as_a_general_milp_says(cylinders: int, pools: int, locks: int, cases: int) -> None:
    """scipy.optimize.milp (HiGHS), which knows nothing of pairings."""
    chance = random.Random(cylinders * 1000 + pools * 100 + locks)
    for _ in range(cases):
        problem = random_problem(chance, cylinders, pools, locks)
        spread, optimal = smallest_spread_by_milp(problem)
        assert optimal
        assert match(problem).spread == spread


def test_sixteen_cylinders_find_an_evenness_that_was_hidden_in_them() -> None:
    """Weights made so that one known pairing has spread 0; nothing else is known of them."""
    chance = random.Random(16)
    rods = [Fraction(chance.randint(5000, 5060), 10) for _ in range(16)]
    pistons = [Fraction(chance.randint(4000, 4060), 10) for _ in range(16)]
    pins = [Fraction(1200) - rod - piston for rod, piston in zip(rods, pistons, strict=True)]
    lists = [chance.sample(weights, 16) for weights in (rods, pistons, pins)]
    names = tuple(str(c) for c in range(16))
    problem = Problem(names, tuple(pool(n, w) for n, w in zip(("rod", "piston", "pin"), lists, strict=True)))
    matching = match(problem)
    assert matching.spread == 0
    assert matching.proven
    assert_holds(problem, matching)


def test_two_pools_locked_to_different_cylinders_must_not_meet() -> None:
    """Opposite sorting would pair R1 (9) with P1 (0); they are locked apart, so spread 0 is out of reach."""
    pools = (
        pool("rod", [Fraction(9), Fraction(5), Fraction(1)]),
        pool("piston", [Fraction(0), Fraction(4), Fraction(8)]),
    )
    problem = Problem(("1", "2", "3"), pools, locks=(Lock({"rod": "rod-1"}, "1"), Lock({"piston": "piston-1"}, "2")))
    assert match(replace(problem, locks=())).spread == 0
    matching = match(problem)
    assert matching.spread == smallest_spread_by_trying_all(problem) != 0
    assert matching.proven
    assert_holds(problem, matching)


def test_one_pool_has_the_spread_it_has() -> None:
    matching = match(Problem(("1", "2", "3"), (pool("rod", [Fraction(5), Fraction(9), Fraction(6)]),)))
    assert matching.spread == matching.bound == 4
    assert matching.proven
    assert matching.moved == 0


def test_the_search_needs_no_good_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """Opposite sorting only supplies a start. Without it, the search has to find every answer by itself."""
    monkeypatch.setattr(search._Work, "even_out", lambda work, sets: None)
    chance = random.Random(31)
    for cylinders, pools, locks in [(2, 3, 0), (3, 3, 0), (4, 3, 0), (4, 3, 2), (5, 3, 0), (3, 4, 1)] * 12:
        problem = random_problem(chance, cylinders, pools, locks, steps=chance.choice([1, 10, 100]))
        matching = match(problem)
        assert matching.proven
        assert matching.spread == smallest_spread_by_trying_all(problem)


def test_the_steps_in_which_the_weights_come_are_found_wherever_the_weights_lie() -> None:
    """Rods on 0.1 g steps from 100.03 g, the other pools likewise: the steps are 0.1 g. The total is 1 step more than
    a multiple of 3 from the start of each pool's steps, so 0.1 g of spread is the least there can be."""
    lists = {"rod": ["100.03", "100.13", "100.23"], "piston": ["50.01", "50.11", "50.21"], "pin": ["7.2", "7.3", "7.2"]}
    matching = match(Problem(("1", "2", "3"), tuple(pool(n, [Fraction(w) for w in ws]) for n, ws in lists.items())))
    assert matching.spread == matching.bound == Fraction("0.1")
    assert "steps of 0.1 g" in matching.how


# --- what must not change the answer ---------------------------------------------------------------------------------


@settings(max_examples=40)
@given(problems(), st.randoms(use_true_random=False), grams, st.fractions(min_value=Fraction(1, 50), max_value=50))
def test_order_names_a_constant_and_the_unit_do_not_change_the_spread(
    problem: Problem, chance: random.Random, constant: Fraction, factor: Fraction
) -> None:
    spread = match(problem).spread
    reordered = replace(problem, pools=tuple(chance.sample(problem.pools, len(problem.pools))))
    assert match(reordered).spread == spread
    renamed = tuple(
        Pool(f"{each.name}s", {f"x{i}": each.pieces[p] for i, p in enumerate(chance.sample(list(each.pieces), k))})
        for each in problem.pools
        for k in [len(each.pieces)]
    )
    assert match(replace(problem, pools=renamed)).spread == spread
    first, *others = problem.pools
    heavier = Pool(first.name, {piece: weight + constant for piece, weight in first.pieces.items()})
    assert match(replace(problem, pools=(heavier, *others))).spread == spread
    scaled = tuple(Pool(each.name, {p: w * factor for p, w in each.pieces.items()}) for each in problem.pools)
    assert match(replace(problem, pools=scaled)).spread == spread * factor


def test_the_same_problem_gets_the_same_pairing() -> None:
    problem = random_problem(random.Random(5), 8, 3, locks=2)
    assert match(problem) == match(problem)


def test_simple_opposite_sorting_and_as_numbered_are_those_of_the_hand_method() -> None:
    """By hand: rods 3 1 2 with pistons 1 2 3 sorted opposite give 4 4 4; pins 0 1 5 on top give 4 5 9, spread 5.
    As numbered: 3+1+0, 1+2+1, 2+3+5 = 4, 4, 10, spread 6."""
    lists = {"rod": [3, 1, 2], "piston": [1, 2, 3], "pin": [0, 1, 5]}
    problem = Problem(("1", "2", "3"), tuple(pool(n, [Fraction(w) for w in ws]) for n, ws in lists.items()))
    matching = match(problem)
    assert matching.sorted_spread == 5
    assert matching.as_numbered_spread == 6


# --- ties ------------------------------------------------------------------------------------------------------------


def with_throws(problem: Problem, chance: random.Random, sizes: list[int]) -> Problem:
    throws = [str(throw) for throw, size in enumerate(sizes) for _ in range(size)]
    big_ends = {rod: Fraction(chance.randint(4000, 4040), 10) for rod in problem.pools[0].pieces}
    return replace(
        problem, throws=dict(zip(problem.cylinders, throws, strict=True)), big_ends=big_ends, tie=Fraction(1, 5)
    )


def throw_spread(problem: Problem, rods: tuple[str, ...]) -> Fraction:
    sums: dict[str, Fraction] = {}
    for cylinder, rod in zip(problem.cylinders, rods, strict=True):
        sums[problem.throws[cylinder]] = sums.get(problem.throws[cylinder], Fraction(0)) + problem.big_ends[rod]
    return max(sums.values()) - min(sums.values())


@pytest.mark.parametrize("sizes", [[2, 2, 2], [1] * 6, [3, 3], [4, 2], [3, 2, 2], [6]])
def test_the_big_ends_per_throw_are_as_even_as_any_placing_of_the_rods(sizes: list[int]) -> None:
    chance = random.Random(sum(size**2 for size in sizes))
    for _ in range(6):
        problem = with_throws(random_problem(chance, sum(sizes), 3), chance, sizes)
        matching = match(problem)
        every = permutations(problem.pools[0].pieces)
        assert matching.throw_spread == min(throw_spread(problem, rods) for rods in every)
        assert_holds(problem, matching)


def test_eight_rods_on_four_throws_are_heaviest_with_lightest() -> None:
    """Sums 400.0 .. 400.7 in pairs: opposite sorting puts 800.7 on every throw."""
    problem = random_problem(random.Random(8), 8, 3)
    big_ends = {rod: Fraction(4000 + place, 10) for place, rod in enumerate(problem.pools[0].pieces)}
    throws = {str(c): str((c + 1) // 2) for c in range(1, 9)}
    assert match(replace(problem, big_ends=big_ends, throws=throws)).throw_spread == 0


def test_rods_locked_to_cylinders_keep_the_big_ends_as_even_as_still_possible() -> None:
    chance = random.Random(77)
    for _ in range(10):
        problem = with_throws(random_problem(chance, 6, 2), chance, [2, 2, 2])
        rods = list(problem.pools[0].pieces)
        problem = replace(problem, locks=(Lock({"rod": rods[0]}, "1"), Lock({"rod": rods[3]}, "2")))
        every = [order for order in permutations(rods) if (order[0], order[1]) == (rods[0], rods[3])]
        matching = match(problem)
        assert matching.throw_spread == min(throw_spread(problem, order) for order in every)
        assert_holds(problem, matching)


@pytest.mark.parametrize("sizes", [None, [2, 2, 1]])
def test_the_sets_go_where_the_fewest_pieces_move(sizes: list[int] | None) -> None:
    """Not more moves than the same sets would need in any other order over the cylinders, big ends being as even."""
    chance = random.Random(3)
    for _ in range(25):
        problem = random_problem(chance, 5, 3)
        if sizes:
            problem = with_throws(problem, chance, sizes)
        matching = match(problem)
        sets = list(matching.cylinders.values())
        names = [each.name for each in problem.pools]
        now = [[list(each.pieces)[c] for each in problem.pools] for c in range(5)]
        fewest = min(
            sum(each[name] != now[c][p] for c, each in enumerate(order) for p, name in enumerate(names))
            for order in permutations(sets)
            if not sizes or throw_spread(problem, tuple(each["rod"] for each in order)) == matching.throw_spread
        )
        assert matching.moved <= fewest


def test_nothing_moves_when_the_pieces_already_lie_within_what_the_scale_can_tell() -> None:
    chance = random.Random(9)
    for _ in range(20):
        problem = random_problem(chance, 6, 3)
        best = match(problem)
        placed = {c: dict(pieces) for c, pieces in best.cylinders.items()}
        one, two = chance.sample(list(problem.cylinders), 2)
        placed[one]["pin"], placed[two]["pin"] = placed[two]["pin"], placed[one]["pin"]
        disturbed = match(replace(problem, placed=placed, tie=Fraction(1000)))
        assert disturbed.moved == 0
        assert disturbed.cylinders == placed
        assert disturbed.best == disturbed.bound == best.spread
        assert match(replace(problem, placed=best.cylinders)).moved == 0
        assert match(replace(problem, placed=placed)).spread == best.spread


def test_nothing_moves_when_big_ends_differ_by_less_than_the_scale_can_tell() -> None:
    problem = with_throws(random_problem(random.Random(4), 6, 3), random.Random(4), [2, 2, 2])
    loose = replace(problem, tie=Fraction(1000), big_end_tie=Fraction(1000))
    assert match(loose).moved == 0
    assert match(replace(loose, big_end_tie=Fraction(0))).throw_spread == match(problem).throw_spread


def test_one_exchange_away_from_the_best_moves_two_pieces() -> None:
    """As numbered, all sums are 1200.0 g; then two pins are exchanged. Exchanging them back is enough, however
    different the sets are that the search happens to find."""
    chance = random.Random(14)
    for _ in range(10):
        rods, pistons = ([Fraction(chance.randint(5000, 5040), 10) for _ in range(8)] for _ in range(2))
        pins = [1200 - r - p for r, p in zip(rods, pistons, strict=True)]
        one = pins.index(max(pins))
        two = pins.index(min(pins))
        pins[one], pins[two] = pins[two], pins[one]
        pools = tuple(pool(n, w) for n, w in (("rod", rods), ("piston", pistons), ("pin", pins)))
        problem = Problem(tuple(str(c) for c in range(1, 9)), pools, tie=Fraction(1, 5))
        matching = match(problem)
        assert matching.as_numbered_spread > problem.tie
        assert matching.spread == 0
        assert matching.moved == 2
        assert_holds(problem, matching)


def test_locked_pistons_limit_how_even_the_big_ends_can_be_and_the_tie_counts_from_there() -> None:
    """Rods 1, 2 belong on the pistons locked to cylinders 1, 2, so they never share a throw. Big ends by throw (1+3,
    2+4): 801.2 and 803.0 with rods as numbered, spread 1.8; 801.0 and 803.2 with rods 3 and 4 exchanged, spread 2.2."""
    names = ("1", "2", "3", "4")
    pools = (
        pool("rod", [Fraction(w) for w in (10, 10, 20, 20)]),
        pool("piston", [Fraction(w) for w in (20, 20, 10, 10)]),
    )
    big_ends = {f"rod-{i}": Fraction(w) for i, w in enumerate(("400", "402", "401.2", "401"), 1)}
    problem = Problem(
        names,
        pools,
        locks=tuple(Lock({"piston": f"piston-{c}"}, c) for c in names),
        throws={"1": "A", "2": "B", "3": "A", "4": "B"},
        big_ends=big_ends,
        placed={c: {"rod": f"rod-{rod}", "piston": f"piston-{c}"} for c, rod in zip(names, (1, 2, 4, 3), strict=True)},
    )
    strict = match(problem)
    assert strict.throw_spread == Fraction("1.8")
    assert strict.moved == 2
    loose = match(replace(problem, big_end_tie=Fraction("0.5")))
    assert loose.throw_spread == Fraction("2.2")
    assert loose.moved == 0


def test_identical_pieces_are_not_shuffled_for_nothing() -> None:
    """Pins all alike, rods and pistons as even as can be already: nothing to gain, so nothing moves. With rods 1 and 2
    exchanged it is those two alone, or their pistons, that move: 2 pieces."""
    names = ("1", "2", "3", "4")
    pools = (
        pool("rod", [Fraction(w) for w in (10, 20, 30, 40)]),
        pool("piston", [Fraction(w) for w in (40, 30, 20, 10)]),
        pool("pin", [Fraction(7)] * 4),
    )
    problem = Problem(names, pools)
    assert match(problem).moved == 0
    placed = {c: {each.name: list(each.pieces)[i] for each in pools} for i, c in enumerate(names)}
    placed["1"]["rod"], placed["2"]["rod"] = placed["2"]["rod"], placed["1"]["rod"]
    assert match(replace(problem, placed=placed)).moved == 2


def test_a_piece_that_is_nowhere_yet_does_not_count_as_moved() -> None:
    problem = random_problem(random.Random(12), 4, 2)
    pistons = {c: {"piston": piece} for c, piece in zip(problem.cylinders, problem.pools[1].pieces, strict=True)}
    assert match(replace(problem, placed=pistons)).moved == 0


def test_what_moves_at_all_moves_to_the_exact_smallest_spread() -> None:
    chance = random.Random(21)
    for _ in range(20):
        problem = replace(random_problem(chance, 5, 3), tie=Fraction(3, 10))
        strict, loose = match(replace(problem, tie=Fraction(0))), match(problem)
        assert_holds(problem, loose)
        assert loose.spread == strict.spread or loose.moved == 0
        assert ("nothing is moved" in loose.how) == (loose.spread > loose.best)


# --- time ------------------------------------------------------------------------------------------------------------


def hard_problem() -> Problem:
    """16 x 3 with weights to 1e-5 g, normally spread: far finer than any scale, and too much to prove quickly."""
    chance = random.Random("16,3,100000,1,gauss")
    lists = [[Fraction(round(chance.gauss(0, sd) * 10**5), 10**5) for _ in range(16)] for sd in (1.5, 2.0, 0.6)]
    pools = tuple(pool(name, weights) for name, weights in zip(("rod", "piston", "pin"), lists, strict=True))
    return Problem(tuple(str(c) for c in range(1, 17)), pools)


def test_when_time_runs_out_the_pairing_holds_and_its_gap_is_stated() -> None:
    problem = hard_problem()
    matching = match(problem, seconds=1.0)
    assert_holds(problem, matching)
    assert not matching.proven
    assert matching.bound < matching.best <= matching.spread <= matching.sorted_spread
    assert "ran out" in matching.how


def test_an_engine_of_eight_is_proven_before_time_runs_out() -> None:
    for seed in range(5):
        assert match(random_problem(random.Random(seed), 8, 3)).proven


# --- what is refused -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("locks", "says"),
    [
        ((Lock({"rod": "Ro1"}, "1"), Lock({"rod": "Ro2"}, "1")), "rod Ro1 and rod Ro2 into one cylinder"),
        (
            (Lock({"rod": "Ro1", "piston": "Pi1"}), Lock({"rod": "Ro1", "piston": "Pi2"})),
            "piston Pi1 and piston Pi2 into one cylinder",
        ),
        ((Lock({"rod": "Ro1"}, "1"), Lock({"rod": "Ro1"}, "2")), "rod Ro1 into cylinder 1 and into cylinder 2"),
        ((Lock({"rod": "Ro9"}, "1"),), "rod Ro9"),
        ((Lock({"rocker": "K1"}, "1"),), "rocker"),
        ((Lock({"rod": "Ro1"}, "7"),), "cylinder 7"),
        ((Lock({"rod": "Ro1"}),), "a piece and a cylinder, or two pieces"),
        ((Lock({}, "1"),), "a piece and a cylinder, or two pieces"),
    ],
)
def test_contradictory_locks_are_refused_by_name(locks: tuple[Lock, ...], says: str) -> None:
    problem = random_problem(random.Random(1), 3, 3)
    with pytest.raises(MatchingError, match=says):
        match(replace(problem, locks=locks))


def test_locks_that_fit_one_by_one_but_not_together_are_refused() -> None:
    """Two cylinders, three pairs without a common pool left over: no set can hold the second and the third."""
    problem = random_problem(random.Random(1), 2, 3)
    locks = (
        Lock({"rod": "Ro1", "piston": "Pi1"}),
        Lock({"piston": "Pi2", "pin": "Pi1"}),
        Lock({"rod": "Ro2", "pin": "Pi2"}),
    )
    assert smallest_spread_by_trying_all(replace(problem, locks=locks)) is None
    with pytest.raises(MatchingError, match="cannot all be kept"):
        match(replace(problem, locks=locks))


def test_a_pool_must_have_one_piece_for_each_cylinder() -> None:
    problem = random_problem(random.Random(1), 3, 2)
    short = Pool("pin", {"N1": Fraction(1)})
    with pytest.raises(MatchingError, match="pin: 1 weighed for 3 cylinders"):
        match(replace(problem, pools=(*problem.pools, short)))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"cylinders": ("1", "1", "2")}, "cylinder is named twice"),
        ({"throws": {"1": "A"}}, "no throw is named for cylinder 2, 3"),
        ({"big_ends": {"Ro1": Fraction(400)}}, "no big-end weight for rod Ro2, Ro3"),
        ({"tie": Fraction(-1)}, "below zero"),
        ({"placed": {"1": {"rod": "Ro1"}, "2": {"rod": "Ro1"}}}, "rod Ro1 is placed in two cylinders"),
        ({"pools": ()}, "at least one"),
    ],
)
def test_a_problem_that_contradicts_itself_is_refused(change: dict[str, object], says: str) -> None:
    problem = random_problem(random.Random(1), 3, 2)
    with pytest.raises(MatchingError, match=says):
        match(replace(problem, **change))  # type: ignore[arg-type]
