from math import sqrt
from statistics import stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.uncertainty import (
    combined,
    drift_half_width,
    pooled_standard_deviation,
    reading_uncertainty,
    rectangular,
    resolution,
    smallest_difference,
    standard_deviation,
)

grams = st.floats(min_value=0, max_value=10_000, allow_subnormal=False)
several_readings = st.lists(grams, min_size=2, max_size=12)


@given(several_readings)
def test_the_spread_agrees_with_the_standard_library(readings: list[float]) -> None:
    assert standard_deviation(readings) == pytest.approx(stdev(readings), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("readings", [[], [611.4]])
def test_one_reading_says_nothing_about_repeatability(readings: list[float]) -> None:
    with pytest.raises(ValueError, match="at least two"):
        standard_deviation(readings)


@given(several_readings)
def test_pooling_one_piece_is_its_own_spread(readings: list[float]) -> None:
    assert pooled_standard_deviation([readings, [5.0]]) == pytest.approx(standard_deviation(readings))


def test_pooled_spread_weighs_pieces_by_how_often_each_was_read() -> None:
    # squared deviations 0.02 over 1 degree of freedom and 0.08 over 2: √(0.10/3); the pieces' own weights do not enter
    assert pooled_standard_deviation([[611.2, 611.4], [500.0, 500.2, 500.4], [9.0]]) == pytest.approx(sqrt(0.10 / 3))


def test_repeatability_is_unknown_when_no_piece_was_read_twice() -> None:
    assert pooled_standard_deviation([[611.2], [500.0]]) is None
    assert pooled_standard_deviation([]) is None


def test_a_reading_carries_resolution_repeatability_and_drift() -> None:
    # step 0.1, s 0.06 over 4 readings, drift ±0.1: √(0.01/12 + 0.0036/4 + 0.01/3) = √0.0050667
    assert reading_uncertainty(0.1, 0.06, 0.1, readings=4) == pytest.approx(0.0711805, abs=1e-7)
    assert reading_uncertainty(0.1, 0, 0) == resolution(0.1)
    assert reading_uncertainty(0, 0.06, 0) == 0.06
    assert reading_uncertainty(0, 0, 0.1) == rectangular(0.1)


@given(grams, grams, grams, st.integers(1, 100))
def test_reading_again_never_beats_the_display_and_the_drift(
    step: float, spread: float, drift: float, readings: int
) -> None:
    once = reading_uncertainty(step, spread, drift)
    again = reading_uncertainty(step, spread, drift, readings)
    floor = combined(resolution(step), rectangular(drift))
    assert floor <= again * (1 + 1e-12)
    assert again <= once * (1 + 1e-12)


@pytest.mark.parametrize(
    ("before", "after", "half_width"),
    [(500.0, 500.0, 0.0), (500.1, 500.0, 0.1), (500.0, 499.8, 0.2), (500.1, 499.9, 0.2), (500.3, 500.2, 0.3)],
)
def test_drift_is_the_largest_disagreement_of_the_check_weight(before: float, after: float, half_width: float) -> None:
    assert drift_half_width(500.0, before, after) == pytest.approx(half_width, abs=1e-9)


def test_two_pieces_differ_when_twice_the_uncertainty_of_their_difference_apart() -> None:
    assert smallest_difference(0.05) == pytest.approx(2 * combined(0.05, 0.05))
