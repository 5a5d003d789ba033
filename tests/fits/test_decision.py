"""The decision rule: three answers and no limit, at the edges of the interval and in between."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.fits.decision import COVERAGE, Estimate, Verdict, decide

# Eighths are exact as floats, so that a figure can stand exactly at the edge of its interval.
eighths = st.integers(-80, 80).map(lambda number: number / 8)
uncertainties = st.integers(0, 16).map(lambda number: number / 16)

FROM_LOW_TO_HIGH: tuple[Verdict, ...] = ("under", "cannot tell", "within")


def of(value: float, uncertainty: float, least: float | None, most: float | None) -> Verdict:
    return decide(Estimate(value, uncertainty), Estimate(value, uncertainty), least, most)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (0.0429, "under"),
        (0.0431, "cannot tell"),
        (0.0450, "cannot tell"),
        (0.0469, "cannot tell"),
        (0.0471, "within"),
        (0.0600, "within"),
        (0.0729, "within"),
        (0.0731, "cannot tell"),
        (0.0750, "cannot tell"),
        (0.0769, "cannot tell"),
        (0.0771, "over"),
    ],
)
def test_a_clearance_of_45_to_75_thousandths_known_within_two(value: float, verdict: Verdict) -> None:
    # u = 0.001 mm, U = 2 u = 0.002 mm: the limits 0.045 and 0.075 are each in doubt for 0.002 mm either way
    assert of(value, 0.001, 0.045, 0.075) == verdict


def test_an_interval_that_only_touches_its_limit_is_within_it() -> None:
    # y ± U with U = 0.25: 1.25 − 0.25 is the limit itself, which is allowed
    assert of(1.25, 0.125, 1, None) == "within"
    assert of(1.125, 0.125, 1, None) == "cannot tell"
    assert of(0.75, 0.125, 1, None) == "cannot tell"  # 0.75 + 0.25 could still be the limit
    assert of(0.625, 0.125, 1, None) == "under"
    assert of(0.75, 0.125, None, 1) == "within"
    assert of(1.375, 0.125, None, 1) == "over"


def test_without_a_limit_there_is_no_verdict() -> None:
    assert of(0.05, 0.001, None, None) == "no limit"


def test_a_limit_of_zero_is_a_limit() -> None:
    assert of(-0.01, 0.001, 0, None) == "under"
    assert of(0.01, 0.001, None, 0) == "over"


def test_the_tightest_place_is_held_to_the_lower_limit_and_the_mean_to_the_upper_one() -> None:
    tightest, mean = Estimate(0.050, 0.001), Estimate(0.080, 0.001)
    assert decide(tightest, mean, 0.045, 0.090) == "within"
    assert decide(tightest, mean, 0.060, 0.090) == "under"
    assert decide(tightest, mean, 0.045, 0.070) == "over"
    assert decide(mean, tightest, 0.060, 0.070) == "within"


def test_each_of_the_two_is_unsure_by_its_own_uncertainty() -> None:
    sure, unsure = Estimate(0.060, 0.0001), Estimate(0.060, 0.010)
    assert decide(sure, unsure, 0.055, None) == "within"
    assert decide(unsure, sure, 0.055, None) == "cannot tell"
    assert decide(sure, unsure, None, 0.065) == "cannot tell"
    assert decide(unsure, sure, None, 0.065) == "within"


def test_outside_one_limit_for_certain_outweighs_a_doubt_about_the_other() -> None:
    assert decide(Estimate(0.0450, 0.001), Estimate(0.0900, 0.001), 0.045, 0.075) == "over"
    assert decide(Estimate(0.0300, 0.001), Estimate(0.0750, 0.001), 0.045, 0.075) == "under"


@given(eighths, uncertainties, eighths, eighths)
def test_within_means_that_the_whole_interval_is(value: float, uncertainty: float, least: float, room: float) -> None:
    most = least + abs(room)
    smallest, largest = value - COVERAGE * uncertainty, value + COVERAGE * uncertainty
    verdict = of(value, uncertainty, least, most)
    assert (verdict == "within") == (least <= smallest and largest <= most)
    assert (verdict == "under") == (largest < least)
    assert (verdict == "over") == (smallest > most)


@given(st.lists(eighths, min_size=2, max_size=6), uncertainties, eighths)
def test_more_clearance_never_stands_worse_against_a_lower_limit(
    values: list[float], uncertainty: float, least: float
) -> None:
    ranks = [FROM_LOW_TO_HIGH.index(of(value, uncertainty, least, None)) for value in sorted(values)]
    assert ranks == sorted(ranks)


@given(eighths, uncertainties, uncertainties, eighths, eighths)
def test_a_poorer_gauge_may_leave_a_figure_undecided_and_never_turns_a_verdict_round(
    value: float, uncertainty: float, worse: float, least: float, room: float
) -> None:
    most = least + abs(room)
    better = of(value, uncertainty, least, most)
    assert of(value, uncertainty + worse, least, most) in {better, "cannot tell"}


@given(eighths, uncertainties, eighths, eighths)
def test_under_and_over_are_the_same_seen_from_the_other_side(
    value: float, uncertainty: float, least: float, room: float
) -> None:
    most = least + abs(room)
    mirrored = {"under": "over", "over": "under"}
    verdict = of(value, uncertainty, least, most)
    assert of(-value, uncertainty, -most, -least) == mirrored.get(verdict, verdict)


@given(eighths, eighths, eighths)
def test_a_figure_without_uncertainty_is_never_in_doubt(value: float, least: float, room: float) -> None:
    most = least + abs(room)
    assert of(value, 0, least, most) == ("under" if value < least else "over" if value > most else "within")
