"""Shell sizes against every assignment of half shells there is, and the promises of `choose`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import combinations, combinations_with_replacement, product
from random import Random
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.fits.decision import Estimate, Verdict, decide
from buildbook.fits.shells import Choice, Judge, choose, recommended

mm = Fraction

# Thousandths of a mm on a coarse grid, so that ties and neighbours that may be mixed come up often.
grid = st.integers(-8, 8).map(lambda steps: mm(5 * steps, 1000))


def within(least: Fraction | None, most: Fraction | None, uncertainty: float = 0.0) -> Judge:
    def judge(journal: str, clearance: Fraction) -> Verdict:
        figure = Estimate(float(clearance), uncertainty)
        return decide(figure, figure, least, most)

    return judge


class Case(NamedTuple):
    clearances: Mapping[str, Fraction]
    fitted: Fraction
    sizes: list[Fraction]
    target: Fraction
    judge: Judge
    mixed: Fraction


@st.composite
def cases(draw: st.DrawFn) -> Case:
    measured = draw(st.lists(grid, min_size=1, max_size=3))
    target = draw(grid)
    away = st.none() | st.integers(0, 3).map(lambda steps: mm(5 * steps, 1000))
    below, above = draw(away), draw(away)
    return Case(
        clearances={f"main {place}": clearance for place, clearance in enumerate(measured, 1)},
        fitted=draw(grid),
        sizes=draw(st.lists(grid, min_size=1, max_size=5)),
        target=target,
        judge=within(
            None if below is None else target - below,
            None if above is None else target + above,
            draw(st.sampled_from([0.0, 0.002, 0.004])),  # U of nothing, of less than a step of the grid, and of more
        ),
        mixed=draw(st.sampled_from([mm(0), mm(5, 1000), mm(10, 1000), mm(26, 1000)])),
    )


def every_assignment(case: Case, count: int) -> Iterator[tuple[tuple[object, ...], Choice]]:
    """All ways to fill all bearings from any `count` sizes, each with its objective: the smaller, the better."""
    for sizes in combinations(sorted(set(case.sizes)), count):
        pairs = [(a, b) for a, b in combinations_with_replacement(sizes, 2) if b - a <= case.mixed]
        for halves in product(pairs, repeat=len(case.clearances)):
            after = {
                journal: clearance + case.fitted - a / 2 - b / 2
                for (journal, clearance), (a, b) in zip(case.clearances.items(), halves, strict=True)
            }
            verdicts = {journal: case.judge(journal, clearance) for journal, clearance in after.items()}
            outside = frozenset(journal for journal, verdict in verdicts.items() if verdict in {"under", "over"})
            in_doubt = frozenset(journal for journal, verdict in verdicts.items() if verdict == "cannot tell")
            distances = [abs(clearance - case.target) for clearance in after.values()]
            mixed = sum(a != b for a, b in halves)
            objective = (
                *(len(outside), len(in_doubt), max(distances), sum(distances)),
                *(mixed, sizes, -sum(after.values())),
            )
            bearings = dict(zip(case.clearances, halves, strict=True))
            yield objective, Choice(sizes, bearings, after, max(distances), outside, in_doubt)


def gained(choice: Choice) -> tuple[int, int, Fraction]:
    return len(choice.outside), len(choice.in_doubt), choice.farthest


@settings(max_examples=60)
@given(cases())
def test_choices_are_those_of_trying_every_assignment(case: Case) -> None:
    expected: list[Choice] = []
    for count in range(1, min(3, len(set(case.sizes))) + 1):
        _, best = min(every_assignment(case, count), key=lambda each: each[0])
        if not expected or gained(best) < gained(expected[-1]):
            expected.append(best)
    assert choose(*case) == tuple(expected)


@given(cases(), st.randoms())
def test_neither_the_order_of_journals_nor_that_of_sizes_matters(case: Case, chance: Random) -> None:
    journals = chance.sample(list(case.clearances), len(case.clearances))
    shuffled = {journal: case.clearances[journal] for journal in journals}
    sizes = chance.sample(case.sizes, len(case.sizes))
    assert choose(*case._replace(clearances=shuffled, sizes=sizes)) == choose(*case)


@given(cases())
def test_the_recommended_choice_has_the_fewest_sizes_that_will_do(case: Case) -> None:
    choices = choose(*case)
    taken = recommended(choices)
    if any(choice.within for choice in choices):
        assert taken.within
        assert len(taken.sizes) == min(len(choice.sizes) for choice in choices if choice.within)
    else:
        assert gained(taken) == min(map(gained, choices))


@given(cases())
def test_what_is_ordered_fills_every_bearing_with_two_halves(case: Case) -> None:
    for choice in choose(*case):
        halves = sorted(half for pair in choice.halves.values() for half in pair)
        assert [size for size, count in choice.to_order.items() for _ in range(count)] == halves
        assert tuple(choice.to_order) == choice.sizes
        assert all(choice.to_order.values())


def test_three_mains_worked_by_hand() -> None:
    """Measured with standard shells: 0.052, 0.063, 0.071; wanted 0.050 within 0.040 … 0.060.

    One size. Standard leaves 0.052, 0.063, 0.071: two outside, the farthest by 0.021. Size 0.025 makes 0.027, 0.038,
    0.046: two outside, the farthest by 0.023. Size 0.050 makes 0.002, 0.013, 0.021: three outside. So standard.
    Two sizes. Standard and 0.025: main 1 keeps 0.052; main 2 with one half of each is 0.063 − 0.0125 = 0.0505; main 3
    with a set of 0.025 is 0.046 (one half would leave 0.0585, farther). All within, the farthest by 0.004. The other
    two sets lack a size that main 1 or main 2 needs to be within.
    Three sizes. Halves of 0.025 and 0.050 make main 3 0.0335: farther. Nothing gained, so that is not offered.
    """
    clearances = {"main 1": mm("0.052"), "main 2": mm("0.063"), "main 3": mm("0.071")}
    standard, thicker, thickest = mm(0), mm("0.025"), mm("0.050")
    one, two = choose(
        clearances, standard, [standard, thicker, thickest], mm("0.050"), within(mm("0.040"), mm("0.060"))
    )
    assert one.sizes == (standard,)
    assert one.clearances == clearances
    assert one.outside == {"main 2", "main 3"}
    assert (one.farthest, one.within) == (mm("0.021"), False)
    assert two.halves == {
        "main 1": (standard, standard),
        "main 2": (standard, thicker),
        "main 3": (thicker, thicker),
    }
    assert two.clearances == {"main 1": mm("0.052"), "main 2": mm("0.0505"), "main 3": mm("0.046")}
    assert (two.farthest, two.within, two.mixed_bearings) == (mm("0.004"), True, 1)
    assert two.to_order == {standard: 3, thicker: 3}
    assert recommended((one, two)) == two


@given(grid, grid, grid)
def test_a_set_closes_the_clearance_by_its_undersize_beyond_what_was_fitted(
    clearance: Fraction, fitted: Fraction, size: Fraction
) -> None:
    (choice,) = choose({"rod 1": clearance}, fitted, [size], target=mm(0))
    assert choice.clearances == {"rod 1": clearance - (size - fitted)}


def test_one_half_closes_the_clearance_by_half_its_undersize() -> None:
    """Wanted 0.050: rod 1 has it with standard shells, rod 2 has 0.0125 too much, half of 0.025."""
    clearances = {"rod 1": mm("0.050"), "rod 2": mm("0.0625")}
    _, choice = choose(clearances, mm(0), [mm(0), mm("0.025")], target=mm("0.050"))
    assert choice.halves == {"rod 1": (mm(0), mm(0)), "rod 2": (mm(0), mm("0.025"))}
    assert choice.clearances == {"rod 1": mm("0.050"), "rod 2": mm("0.050")}


@pytest.mark.parametrize(
    ("size", "mixed"), [("0.025", True), ("0.0254", True), ("0.026", True), ("0.027", False), ("0.050", False)]
)
def test_halves_are_mixed_only_when_about_a_thousandth_of_an_inch_apart(size: str, mixed: bool) -> None:
    """Common practice. Rods 1 and 3 want a set of each size, rod 2 wants one half of each."""
    thicker = mm(size)
    clearances = {"rod 1": mm("0.050"), "rod 2": mm("0.050") + thicker / 2, "rod 3": mm("0.050") + thicker}
    judge = within(None, mm("0.050") + thicker / 2)
    choice = choose(clearances, mm(0), [mm(0), thicker], mm("0.050"), judge)[-1]
    assert choice.halves["rod 1"] == (mm(0), mm(0))
    assert choice.halves["rod 3"] == (thicker, thicker)
    assert (choice.halves["rod 2"] == (mm(0), thicker)) is mixed


def test_a_tie_goes_to_the_unmixed_pair() -> None:
    """Wanted 0.045. Rod 2 needs a set of 0. Rod 1, at 0.060: two of 0.020 make 0.040, one 0.050; both miss by 0.005."""
    clearances = {"rod 1": mm("0.060"), "rod 2": mm("0.045")}
    choice = choose(clearances, mm(0), [mm(0), mm("0.020")], target=mm("0.045"))[-1]
    assert choice.halves == {"rod 1": (mm("0.020"), mm("0.020")), "rod 2": (mm(0), mm(0))}


def test_a_tie_of_unmixed_pairs_goes_to_the_larger_clearance() -> None:
    """Wanted 0.050. Rods 2 and 3 need one size each. Rod 1, at 0.060, misses by 0.010 with either."""
    clearances = {"rod 1": mm("0.060"), "rod 2": mm("0.070"), "rod 3": mm("0.050")}
    choice = choose(clearances, mm(0), [mm(0), mm("0.020")], target=mm("0.050"), mixed=mm(0))[-1]
    assert choice.clearances == {"rod 1": mm("0.060"), "rod 2": mm("0.050"), "rod 3": mm("0.050")}


def test_within_the_limits_comes_before_nearest_to_the_target() -> None:
    """Size 0 leaves 0.054, nearer to 0.050 but above 0.052; size 0.010 makes 0.044, which is allowed."""
    (choice,) = choose(
        {"rod 1": mm("0.054")}, mm(0), [mm(0), mm("0.010")], mm("0.050"), within(mm("0.040"), mm("0.052")), mm(0)
    )
    assert choice.clearances == {"rod 1": mm("0.044")}


def test_a_clearance_on_its_limit_is_within() -> None:
    clearances = {"rod 1": mm("0.040"), "rod 2": mm("0.060")}

    def with_limits(least: str, most: str, uncertainty: float = 0.0) -> Choice:
        return choose(clearances, mm(0), [mm(0)], mm("0.050"), within(mm(least), mm(most), uncertainty))[0]

    assert with_limits("0.040", "0.060").within
    assert with_limits("0.041", "0.060").outside == {"rod 1"}
    assert with_limits("0.040", "0.059").outside == {"rod 2"}


def test_what_reaches_over_its_limit_is_neither_within_nor_outside() -> None:
    """U is 0.004: 0.042 may be below 0.040, and 0.050 is within for certain."""
    clearances = {"rod 1": mm("0.042"), "rod 2": mm("0.050")}
    (one,) = choose(clearances, mm(0), [mm(0)], mm("0.050"), within(mm("0.040"), mm("0.060"), 0.002))
    assert not one.outside
    assert one.in_doubt == {"rod 1"}
    assert not one.within
    assert recommended([one]) == one


def test_another_size_is_taken_where_it_ends_a_doubt() -> None:
    """U is 0.004. By their figures both keep 0.040 to 0.060 with standard shells; with a half of −0.010 for rod 1 that
    is sure. Without U the one size would do."""
    clearances = {"rod 1": mm("0.042"), "rod 2": mm("0.054")}

    def sizes_for(uncertainty: float) -> tuple[Fraction, ...]:
        judge = within(mm("0.040"), mm("0.060"), uncertainty)
        return recommended(choose(clearances, mm(0), [mm("-0.010"), mm(0)], mm("0.050"), judge)).sizes

    assert sizes_for(0.0) == (mm(0),)
    assert sizes_for(0.002) == (mm("-0.010"), mm(0))


def test_a_doubt_is_better_than_a_clearance_that_is_outside() -> None:
    """U is 0.004: 0.061 is over 0.056 for certain, though nearer to 0.050; 0.037 may be as much as 0.041."""
    judge = within(mm("0.040"), mm("0.056"), 0.002)
    (choice,) = choose({"rod 1": mm("0.061")}, mm(0), [mm(0), mm("0.024")], mm("0.050"), judge, mm(0))
    assert choice.sizes == (mm("0.024"),)
    assert choice.in_doubt == {"rod 1"}


def test_three_sizes_are_offered_even_where_two_gain_nothing_over_one() -> None:
    """Too far apart to mix: 0.250 leaves rods 1 and 3 off by 0.250, and with a second size one of them still is."""
    wanted = mm("0.050")
    sizes = [mm(0), mm("0.250"), mm("0.500")]
    clearances = {f"rod {place}": wanted + size for place, size in enumerate(sizes, 1)}
    choices = choose(clearances, mm(0), sizes, wanted)
    assert [choice.sizes for choice in choices] == [(mm("0.250"),), tuple(sizes)]
    assert [choice.farthest for choice in choices] == [mm("0.250"), 0]


def test_more_than_three_sizes_are_not_offered() -> None:
    wanted = mm("0.050")
    sizes = [mm(0), mm("0.250"), mm("0.500"), mm("0.750")]
    clearances = {f"rod {place}": wanted + size for place, size in enumerate(sizes, 1)}
    choices = choose(clearances, mm(0), sizes, wanted, within(wanted, wanted))
    assert [(len(choice.sizes), len(choice.outside)) for choice in choices] == [(1, 3), (2, 2), (3, 1)]


def test_of_sets_as_near_the_one_that_mixes_fewer_bearings_is_taken() -> None:
    """Rod 1 wants 0.0125 closed: a set of it, or halves of 0 and 0.025. Rod 2 wants 0.025."""
    clearances = {"rod 1": mm("0.0625"), "rod 2": mm("0.075")}
    choice = choose(clearances, mm(0), [mm(0), mm("0.0125"), mm("0.025")], target=mm("0.050"))[-1]
    assert (choice.sizes, choice.mixed_bearings) == ((mm("0.0125"), mm("0.025")), 0)


def test_a_size_that_gains_nothing_is_not_offered() -> None:
    clearances = {"rod 1": mm("0.050"), "rod 2": mm("0.050")}
    (choice,) = choose(clearances, mm(0), [mm(0), mm("0.025"), mm("0.025")], target=mm("0.050"))
    assert choice.sizes == (mm(0),)


def test_without_limits_one_size_will_do() -> None:
    clearances = {"rod 1": mm("0.050"), "rod 2": mm("0.075")}
    choices = choose(clearances, mm(0), [mm(0), mm("0.025")], target=mm("0.050"))
    assert len(choices) == 2
    assert recommended(choices) == choices[0]


def test_without_journals_or_sizes_there_is_nothing_to_choose() -> None:
    with pytest.raises(ValueError, match="measured clearance"):
        choose({}, mm(0), [mm(0)], mm("0.050"))
    with pytest.raises(ValueError, match="shell size"):
        choose({"rod 1": mm("0.050")}, mm(0), [], mm("0.050"))
    with pytest.raises(ValueError, match="below zero"):
        choose({"rod 1": mm("0.050")}, mm(0), [mm(0)], mm("0.050"), mixed=mm("-0.001"))
