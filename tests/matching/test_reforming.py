"""Sets made up anew while they are placed, against every way of making up and placing them."""

from __future__ import annotations

import random
from cmath import rect
from collections.abc import Sequence
from dataclasses import replace
from itertools import permutations, product
from math import radians

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.matching import reforming
from buildbook.matching.reforming import Pieces, Where, reform


def crankshaft(*angles: float) -> list[list[complex]]:
    """What a gram on each pin is worth at two planes at the ends, pins evenly spaced."""
    pins = [rect(0.3, radians(angle)) for angle in angles]
    places = [(1 + at) / (1 + len(pins)) for at in range(len(pins))]
    return [[pin * (1 - at) for pin, at in zip(pins, places, strict=True)],
            [pin * at for pin, at in zip(pins, places, strict=True)]]  # fmt: skip


ACTS = {2: crankshaft(0, 90), 3: crankshaft(0, 240, 120), 8: crankshaft(0, 0, 90, 90, 270, 270, 180, 180)}


def by_cylinder(weights: Sequence[Sequence[float]], where: Where) -> list[float]:
    cylinders = range(len(where[0]))
    return [sum(of_pool[placed[at]] for of_pool, placed in zip(weights, where, strict=True)) for at in cylinders]


def left(pieces: Pieces, where: Where) -> float:
    loads = by_cylinder(pieces.loads, where)
    return max(
        abs(rest + sum(load * act for load, act in zip(loads, acts, strict=True)))
        for acts, rest in zip(pieces.acts, pieces.rest, strict=True)
    )


def spread(pieces: Pieces, where: Where) -> float:
    sums = by_cylinder(pieces.sums, where)
    return max(sums) - min(sums)


def is_lawful(pieces: Pieces, where: Where) -> bool:
    """Whether it keeps the limit, the locks and the bars; as matched, piece c is in cylinder c."""
    cylinder = [{piece: at for at, piece in enumerate(placed)} for placed in where]
    together = all(
        cylinder[pool][piece] == cylinder[other][piece]
        for pool, held in enumerate(pieces.held)
        for piece, bits in enumerate(held)
        for other in range(len(where))
        if bits >> other & 1
    )
    return (
        together
        and spread(pieces, where) <= pieces.within + 1e-9
        and all(cylinder[pool][piece] == piece for pool, piece in pieces.anchored)
        and all(cylinder[pool][piece] != at for pool, piece, at in pieces.barred)
    )


@st.composite
def cases(draw: st.DrawFn) -> Pieces:
    """Two or three cylinders with three kinds of piece, in steps of 0.1 g; the pieces as matched keep the limit."""
    count = draw(st.integers(2, 3))
    tenths = st.lists(st.integers(-8, 8), min_size=count, max_size=count)
    sums = [[each / 10 for each in draw(tenths)] for _ in range(3)]
    loads = [[each / 10 for each in draw(tenths)] for _ in range(3)]
    held = [[1 << pool] * count for pool in range(3)]
    anchored, barred = set(), set()
    number, pool = st.integers(0, count - 1), st.integers(0, 2)
    if draw(st.booleans()):
        piece, one, two = draw(number), draw(pool), draw(pool)
        for each in (one, two):
            held[each][piece] |= 1 << one | 1 << two
    if draw(st.booleans()):
        piece, one = draw(number), draw(pool)
        anchored |= {(each, piece) for each in range(3) if held[one][piece] >> each & 1}
    if draw(st.booleans()):
        piece, one, at = draw(number), draw(pool), draw(number)
        barred |= {(one, piece, at)} if piece != at else set()
    now = [list(range(count)) for _ in range(3)]
    loose = Pieces(sums, loads, ACTS[count], [0.1j, 0.05 + 0j], 0.0, held, anchored, barred)
    within = spread(loose, now) + draw(st.sampled_from([0.0, 0.3, 2.0]))
    return Pieces(sums, loads, ACTS[count], [0.1j, 0.05 + 0j], within, held, anchored, barred)


def every_way(pieces: Pieces) -> list[Where]:
    orders = [list(each) for each in permutations(range(len(pieces.sums[0])))]
    ways = ([list(each) for each in placed] for placed in product(orders, repeat=3))
    return [where for where in ways if is_lawful(pieces, where)]


def now(pieces: Pieces) -> Where:
    return [list(range(len(each))) for each in pieces.sums]


@settings(max_examples=80)
@given(cases())
def test_few_are_as_good_as_every_way_tried_and_of_equals_move_the_fewest(pieces: Pieces) -> None:
    found = reform(pieces, now(pieces), 1.0, 0.0)
    ways = every_way(pieces)
    least = min(left(pieces, where) for where in ways)
    assert is_lawful(pieces, found.where)
    assert found.worst == pytest.approx(left(pieces, found.where), abs=1e-9)
    assert found.worst == pytest.approx(least, abs=1e-9)
    assert found.proven
    fewest = min(moved(where) for where in ways if left(pieces, where) <= least + 1e-9)
    assert moved(found.where) == fewest


def moved(where: Where) -> int:
    return sum(piece != at for placed in where for at, piece in enumerate(placed))


@settings(max_examples=40)
@given(cases())
def test_what_exchanging_finds_keeps_everything_and_lies_between_the_best_and_the_start(pieces: Pieces) -> None:
    """The search for many cylinders, on few, where every way can be tried."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reforming, "_EVERY_WAY", 0)
        patch.setattr(reforming, "_PATIENCE", 10)
        found = reform(pieces, now(pieces), 1.0, 0.0)
    least = min(left(pieces, where) for where in every_way(pieces))
    assert is_lawful(pieces, found.where)
    assert found.worst == pytest.approx(left(pieces, found.where), abs=1e-9)
    assert found.bound - 1e-9 <= least <= found.worst + 1e-9
    assert found.worst <= left(pieces, now(pieces)) + 1e-9


def test_eight_leave_next_to_nothing_within_the_limit_and_are_not_called_proven() -> None:
    chance = random.Random(3)
    sums = [[round(chance.gauss(0, 0.4), 2) for _ in range(8)] for _ in range(3)]
    loads = [[each / 2 for each in of_pool] for of_pool in sums]
    loads[0] = [each + round(chance.gauss(0, 0.4), 1) for each in loads[0]]
    loads = [[each - sum(of_pool) / 8 for each in of_pool] for of_pool in loads]  # equal weights leave a couple
    held = [[1 << pool] * 8 for pool in range(3)]
    held[1][2] = held[2][2] = 0b110
    loose = Pieces(sums, loads, ACTS[8], [0j, 0j], 0.0, held, {(0, 5)}, {(1, 0, 7)})
    pieces = replace(loose, within=spread(loose, now(loose)))
    found = reform(pieces, now(pieces), 5.0, 0.004)
    assert is_lawful(pieces, found.where)
    assert found.worst == pytest.approx(left(pieces, found.where), abs=1e-9)
    assert found.worst < left(pieces, now(pieces)) / 20
    assert (found.bound, found.proven) == (0, False)
