"""Pistons for bores against every pairing there is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import permutations
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.matching import MatchingError, even_clearances


class Case(NamedTuple):
    bores: Mapping[str, Fraction]
    pistons: Mapping[str, Fraction]
    locked: Mapping[str, str]
    now: Mapping[str, str]


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Up to six bores and pistons, in few enough sizes that some are equal; some locked, some in a cylinder now."""
    count = draw(st.integers(1, 6))
    hundredths = st.lists(st.integers(0, draw(st.sampled_from([1, 3, 20]))), min_size=count, max_size=count)
    cylinders, names = [f"{c}" for c in range(1, count + 1)], [f"P{c}" for c in range(1, count + 1)]
    bores = {c: Fraction(10_000 + each, 100) for c, each in zip(cylinders, draw(hundredths), strict=True)}
    pistons = {p: Fraction(9_990 + each, 100) for p, each in zip(names, draw(hundredths), strict=True)}
    locked = dict(list(zip(draw(st.permutations(names)), cylinders, strict=True))[: draw(st.integers(0, count))])
    now = dict(list(zip(draw(st.permutations(cylinders)), names, strict=True))[: draw(st.integers(0, count))])
    return Case(bores, pistons, locked, now)


def every_pairing(case: Case) -> Iterator[dict[str, str]]:
    """Cylinder -> piston, in all ways that keep the locks."""
    for order in permutations(case.pistons):
        pairing = dict(zip(case.bores, order, strict=True))
        if all(pairing[cylinder] == piston for piston, cylinder in case.locked.items()):
            yield pairing


def staying(case: Case, pairing: Mapping[str, str]) -> int:
    return sum(pairing[cylinder] == piston for cylinder, piston in case.now.items())


@given(cases())
def test_no_pairing_that_keeps_the_locks_is_more_even(case: Case) -> None:
    pairing = even_clearances(*case)
    every = [[case.bores[c] - case.pistons[p] for c, p in each.items()] for each in every_pairing(case)]
    assert pairing.least == max(map(min, every))
    assert pairing.most == min(map(max, every))
    assert pairing.spread == min(max(clearances) - min(clearances) for clearances in every)


@given(cases())
def test_every_piston_has_a_bore_and_the_locked_ones_their_own(case: Case) -> None:
    pairing = even_clearances(*case)
    assert list(pairing.pistons) == list(pairing.clearances) == list(case.bores)
    assert sorted(pairing.pistons.values()) == sorted(case.pistons)
    assert all(pairing.pistons[cylinder] == piston for piston, cylinder in case.locked.items())
    for cylinder, piston in pairing.pistons.items():
        assert pairing.clearances[cylinder] == case.bores[cylinder] - case.pistons[piston]


@given(cases())
def test_of_pairings_of_the_same_sizes_none_leaves_more_pistons_where_they_are(case: Case) -> None:
    def sizes(pairing: Mapping[str, str]) -> Counter[tuple[Fraction, Fraction]]:
        return Counter((case.bores[c], case.pistons[p]) for c, p in pairing.items())

    pairing = even_clearances(*case).pistons
    alike = [each for each in every_pairing(case) if sizes(each) == sizes(pairing)]
    assert staying(case, pairing) == max(staying(case, each) for each in alike)


def test_four_bores_worked_by_hand() -> None:
    """Bores 100.00, .03, .01, .02 and skirts 99.93, .94, .95, .91. Sorted, .00 .01 .02 .03 meet .91 .93 .94 .95, so the
    clearances are 0.09, 0.08, 0.08, 0.08. As numbered they would be 0.07, 0.09, 0.06, 0.11."""
    bores = {c: Fraction(each) for c, each in zip("1234", ("100.00", "100.03", "100.01", "100.02"), strict=True)}
    pistons = {f"P{i}": Fraction(each) for i, each in enumerate(("99.93", "99.94", "99.95", "99.91"), 1)}
    pairing = even_clearances(bores, pistons)
    assert pairing.pistons == {"1": "P4", "2": "P3", "3": "P1", "4": "P2"}
    assert (pairing.least, pairing.most, pairing.spread) == (Fraction("0.08"), Fraction("0.09"), Fraction("0.01"))
    # With P1 kept in cylinder 1 (0.07), .01 .02 .03 meet .91 .94 .95: 0.10, 0.08, 0.08.
    pairing = even_clearances(bores, pistons, locked={"P1": "1"})
    assert pairing.pistons == {"1": "P1", "2": "P3", "3": "P4", "4": "P2"}
    assert (pairing.least, pairing.most, pairing.spread) == (Fraction("0.07"), Fraction("0.10"), Fraction("0.03"))


def test_equal_pistons_in_equal_bores_stay_where_they_are() -> None:
    now = {"1": "P3", "2": "P1", "3": "P2"}
    bores = dict.fromkeys("123", Fraction(100))
    pistons = dict.fromkeys(("P1", "P2", "P3"), Fraction("99.9"))
    assert even_clearances(bores, pistons, now=now).pistons == now


def test_pieces_that_were_not_measured_are_passed_over_where_they_are_now() -> None:
    bores, pistons = {"1": Fraction(100), "2": Fraction(100)}, {"P1": Fraction(99), "P2": Fraction(99)}
    pairing = even_clearances(bores, pistons, now={"7": "P1", "1": "P9", "2": "P1"})
    assert pairing.pistons == {"1": "P2", "2": "P1"}


def test_a_pairing_that_cannot_be_made_is_refused() -> None:
    bores, pistons = {"1": Fraction(100), "2": Fraction(101)}, {"P1": Fraction(99), "P2": Fraction(98)}
    with pytest.raises(MatchingError, match="1 pistons measured for 2 bores"):
        even_clearances(bores, {"P1": Fraction(99)})
    with pytest.raises(MatchingError, match="at least one bore"):
        even_clearances({}, {})
    with pytest.raises(MatchingError, match="piston P3, which is not among"):
        even_clearances(bores, pistons, locked={"P3": "1"})
    with pytest.raises(MatchingError, match="cylinder 3, which is not among"):
        even_clearances(bores, pistons, locked={"P1": "3"})
    with pytest.raises(MatchingError, match="piston P1 and piston P2 into cylinder 1"):
        even_clearances(bores, pistons, locked={"P1": "1", "P2": "1"})
