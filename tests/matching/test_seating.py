"""Which set into which cylinder, against trying every way there is."""

from __future__ import annotations

import random
from cmath import rect
from itertools import permutations
from math import factorial, radians

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.balance.unbalance import NOTHING, Plane, Planes, predicted
from buildbook.matching import MatchingError
from buildbook.matching.seating import Seats, seat

# Crankpin angles [deg] and places along the crankshaft [mm] of each cylinder.
Pins = list[tuple[float, float]]

I4: Pins = [(angle, 96.0 * at) for at, angle in enumerate((0, 180, 180, 0))]
I6: Pins = [(angle, 100.0 * at) for at, angle in enumerate((0, 240, 120, 120, 240, 0))]
V6_SPLIT: Pins = [
    (angle + side * 30, 105.0 * at - side * 15) for at, angle in enumerate((0, 120, 240)) for side in (1, -1)
]
FLAT_4: Pins = [(angle, 60.0 * at) for at, angle in enumerate((0, 180, 180, 0))]
FLAT_6: Pins = [(angle, 60.0 * at) for at, angle in enumerate((0, 180, 240, 60, 120, 300))]
V8: Pins = [(angle, 112.0 * at) for at, angle in enumerate((0, 90, 270, 180)) for _ in (1, 2)]
V8_BESIDE: Pins = [(angle, 112.0 * at + side * 12) for at, angle in enumerate((0, 90, 270, 180)) for side in (-1, 1)]
V8_FLAT_PLANE: Pins = [(angle, 112.0 * at) for at, angle in enumerate((0, 180, 180, 0)) for _ in (1, 2)]
V10: Pins = [(angle, 100.0 * at + side * 10) for at, angle in enumerate((0, 216, 144, 72, 288)) for side in (-1, 1)]
V12: Pins = [(angle, 100.0 * at + side * 10) for at, (angle, _) in enumerate(I6) for side in (-1, 1)]
V16: Pins = [(angle, 100.0 * at) for at, angle in enumerate((0, 90, 270, 180, 180, 270, 90, 0)) for _ in (1, 2)]

FOUR_AND_SIX = {"I4": I4, "I6": I6, "V6, split pins": V6_SPLIT, "flat 4": FLAT_4, "flat 6": FLAT_6}
EIGHT = {"V8": V8, "V8, rods side by side": V8_BESIDE, "V8, flat plane": V8_FLAT_PLANE}


def seats(weights: list[float], pins: Pins, locked: dict[int, int] | None = None, barred: object = ()) -> Seats:
    """Judged in g at planes a little outside the crankshaft, 80 and 100 mm from its axis; crank radius 44 mm."""
    front, rear = Plane(-50.0, 80.0), Plane(pins[-1][1] + 60.0, 100.0)
    worth = [Planes(front, rear).carry(rect(44.0, radians(angle)), along) for angle, along in pins]
    acts = [[front.weight(each.front) for each in worth], [rear.weight(each.rear) for each in worth]]
    return Seats(weights, acts, [0.1j, -0.05 + 0j], locked or {}, barred)  # type: ignore[arg-type]


def lawful(given: Seats) -> list[tuple[int, ...]]:
    """Every way that keeps the locks and puts no set where it is barred."""
    return [
        sets
        for sets in permutations(range(len(given.weights)))
        if all(sets[cylinder] == each for each, cylinder in given.locked.items())
        and not any((each, cylinder) in given.barred for cylinder, each in enumerate(sets) if each not in given.locked)
    ]


def moved(sets: tuple[int, ...]) -> int:
    return sum(each != cylinder for cylinder, each in enumerate(sets))


def best_of(given: Seats, ways: list[tuple[int, ...]]) -> tuple[float, int]:
    """What the best way leaves, and the fewest sets that any way so good moves."""
    left = [(given.worst(sets), moved(sets)) for sets in ways]
    least = min(left)[0]
    return least, min(each for worst, each in left if worst <= least + 1e-9)


@st.composite
def cases(draw: st.DrawFn, layouts: dict[str, Pins]) -> Seats:
    """Weights in hundredths of a gram, in few enough steps that some are equal; some sets locked, some barred."""
    pins = layouts[draw(st.sampled_from(sorted(layouts)))]
    numbers = range(len(pins))
    steps = draw(st.sampled_from([2, 20, 400]))
    weights = [
        each / 100 for each in draw(st.lists(st.integers(-steps, steps), min_size=len(pins), max_size=len(pins)))
    ]
    order = draw(st.permutations(numbers))
    locked = dict(zip(numbers, order, strict=True)) if draw(st.booleans()) else {each: each for each in numbers}
    kept = draw(st.sets(st.sampled_from(numbers), max_size=3)) if draw(st.booleans()) else set()
    barred = draw(st.sets(st.tuples(st.sampled_from(numbers), st.sampled_from(numbers)), max_size=4))
    return seats(weights, pins, {each: locked[each] for each in kept}, barred)


def check(given: Seats) -> None:
    ways = lawful(given)
    if not ways:
        with pytest.raises(MatchingError):
            seat(given)
        return
    found = seat(given)
    least, fewest = best_of(given, ways)
    assert found.sets in ways
    assert found.worst == pytest.approx(least, abs=1e-9)
    assert found.worst == pytest.approx(given.worst(found.sets), abs=1e-12)
    assert (found.proven, found.bound) == (True, found.worst)
    assert found.moved == moved(found.sets) == fewest
    if tuple(range(len(given.weights))) in ways:
        assert found.worst <= given.worst(range(len(given.weights))) + 1e-12


@settings(max_examples=60)
@given(cases(FOUR_AND_SIX))
def test_four_and_six_are_as_good_as_every_way_tried(given: Seats) -> None:
    check(given)


@settings(max_examples=6)
@given(cases(EIGHT))
def test_eight_are_as_good_as_every_way_tried(given: Seats) -> None:
    check(given)


@pytest.mark.parametrize("pins", EIGHT.values(), ids=EIGHT)
def test_eight_different_sets_are_as_good_as_every_way_tried(pins: Pins) -> None:
    chance = random.Random(8)
    check(seats([chance.gauss(0, 0.6) for _ in range(8)], pins))


def test_one_two_and_three_cylinders() -> None:
    for count in (1, 2, 3):
        check(seats([0.3, -0.1, 0.4][:count], [(120.0 * at, 90.0 * at) for at in range(count)]))


def test_what_is_left_is_what_the_lever_rule_carries_to_the_planes() -> None:
    """Against balance.unbalance, set by set, with nothing of `Seats` but its numbers."""
    weights = [0.4, -0.2, 0.1, -0.3]
    given = seats(weights, I4)
    planes = Planes(Plane(-50.0, 80.0), Plane(348.0, 100.0))
    changes = [
        planes.carry(44.0 * weights[each] * rect(1, radians(angle)), along)
        for each, (angle, along) in zip((2, 0, 3, 1), I4, strict=True)
    ]
    carried = predicted(NOTHING, changes)
    front, rear = given.left((2, 0, 3, 1))
    assert front == pytest.approx(planes.front.weight(carried.front) + 0.1j)
    assert rear == pytest.approx(planes.rear.weight(carried.rear) - 0.05)


def test_equal_sets_on_a_crankshaft_that_balances_itself_leave_nothing_and_stay() -> None:
    # Σ e^(iφ) = 0 and Σ z e^(iφ) = 0 over the crankpins of an inline six (Norton, Design of Machinery, ch. 12, from
    # memory): equal weights leave nothing at either plane
    given = Seats([0.5] * 6, seats([0.0] * 6, I6).acts, [0j, 0j])
    found = seat(given)
    assert found.worst == pytest.approx(0.0, abs=1e-12)
    assert (found.moved, found.proven) == (0, True)


def test_four_sets_a_little_heavier_cancel_where_they_are_opposite() -> None:
    # Two heavy sets on pins that point away from one another at the same distance from the middle leave a couple; on
    # pins 1 and 4 of a flat-plane crankshaft, which point the same way, a force. By hand: in an inline four, 0.4 g on
    # pins 2 and 1 (180° apart, 96 mm) leaves 0.4 × 44 × 96/458 = 3.69 g·mm at each plane; on 1 and 4, 35.2 in all.
    front, rear = Plane(-50.0, 80.0), Plane(348.0, 100.0)
    given = Seats([0.4, 0.0, 0.0, 0.4], seats([0.0] * 4, I4).acts, [0j, 0j])
    found = seat(given)
    heavy = sorted(cylinder for cylinder, each in enumerate(found.sets) if each in (0, 3))
    assert heavy in ([0, 1], [2, 3])
    assert found.worst == pytest.approx(0.4 * 44 * 96 / (rear.position - front.position) / 80)
    assert found.moved == 2  # not four: the other set of the two that were apart stays


def test_ten_and_twelve_are_proven_and_better_than_exchanging_finds() -> None:
    for pins in (V10, V12):
        chance = random.Random(len(pins))
        given = seats([chance.gauss(0, 0.6) for _ in pins], pins)
        found = seat(given, 30.0)
        assert (found.proven, found.bound, found.ways) == (True, found.worst, factorial(len(pins)))
        sets = list(range(len(pins)))
        for _ in range(4000):
            one, two = chance.sample(range(len(pins)), 2)
            changed = list(sets)
            changed[one], changed[two] = sets[two], sets[one]
            if given.worst(changed) < given.worst(sets):
                sets = changed
        assert found.worst <= given.worst(sets)


def test_sixteen_are_not_called_proven_when_time_runs_out() -> None:
    chance = random.Random(16)
    given = seats([chance.gauss(0, 0.6) for _ in V16], V16)
    found = seat(given, 0.5)
    assert not found.proven
    assert 0 <= found.bound <= found.worst < given.worst(range(16))
    assert sorted(found.sets) == list(range(16))
    assert found.looked_at < found.ways == factorial(16)


def test_sixteen_are_placed_until_it_is_good_enough_and_ten_all_the_way() -> None:
    chance = random.Random(19)
    sixteen, ten = (seats([chance.gauss(0, 0.6) for _ in pins], pins) for pins in (V16, V16[:10]))
    found = seat(sixteen, 60.0, good_enough=0.01)
    assert (found.proven, found.worst <= 0.01) == (False, True)
    assert found.looked_at < found.ways
    assert seat(ten, 60.0, good_enough=0.5) == seat(ten, 60.0)


def test_the_bound_holds_where_the_rest_is_more_than_any_placing_can_answer_for() -> None:
    """No way of sixteen can leave less than the bound; with 10 g at the front that is known from arithmetic alone."""
    chance = random.Random(17)
    weights = [chance.gauss(0, 0.6) for _ in V16]
    plain = seats(weights, V16)
    given = Seats(weights, plain.acts, [10 + 0j, 0j])
    found = seat(given, 0.5)
    assert found.bound > 5
    assert found.bound <= found.worst
    for _ in range(2000):
        assert given.worst(chance.sample(range(16), 16)) >= found.bound - 1e-9


def test_eighteen_too_many_orders_for_a_half_are_searched_and_not_proven() -> None:
    pins = [(40.0 * at, 50.0 * at) for at in range(18)]
    chance = random.Random(18)
    given = seats([chance.gauss(0, 0.6) for _ in pins], pins)
    found = seat(given, 0.5)
    assert not found.proven
    assert found.worst < given.worst(range(18))


def test_two_sets_locked_into_one_cylinder_contradict_one_another() -> None:
    with pytest.raises(MatchingError, match="two sets into one cylinder"):
        seat(seats([0.1, 0.2, 0.3, 0.4], I4, {0: 2, 1: 2}))


def test_a_set_barred_from_every_cylinder_is_said() -> None:
    with pytest.raises(MatchingError, match="every set a cylinder"):
        seat(seats([0.1, 0.2, 0.3, 0.4], I4, barred={(0, each) for each in range(4)}))
