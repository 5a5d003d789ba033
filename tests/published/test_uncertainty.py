"""Uncertainty against the GUM (JCGM 100:2008) and EA-4/02."""

from math import sqrt

import pytest

from buildbook.uncertainty import combined, reading_uncertainty, rectangular, resolution, standard_deviation


def test_rectangular_limits_are_worth_half_width_over_root_three() -> None:
    # GUM 4.3.7, from memory
    assert rectangular(1.0) == pytest.approx(0.577350, abs=1e-6)


def test_a_display_step_is_worth_0_29_of_itself() -> None:
    # GUM F.2.2.1 ("0.29 δx"), from memory
    assert resolution(1.0) == pytest.approx(0.288675, abs=1e-6)


def test_spread_of_five_readings_and_the_uncertainty_of_their_mean() -> None:
    # GUM 4.2.2 and 4.2.3, from memory; deviations −2 −1 0 1 2, squares sum to 10, 10/4 = 2.5, and 2.5/5 = 0.5
    readings = [1.0, 2.0, 3.0, 4.0, 5.0]
    assert standard_deviation(readings) == pytest.approx(1.581139, abs=1e-6)
    assert reading_uncertainty(0, standard_deviation(readings), 0, readings=5) == pytest.approx(0.707107, abs=1e-6)


def test_calibration_of_a_10_kg_weight() -> None:
    # EA-4/02, example S2, in mg: reference 45 (k = 2), drift ±15, comparator 25 over three readings, magnetic and
    # eccentric ±10, buoyancy ±10. Read in a rendering that rounds on the way (29.1); 25 and 59 are from memory.
    terms = (45 / 2, rectangular(15), 25 / sqrt(3), rectangular(10), rectangular(10))
    assert terms == pytest.approx((22.5, 8.66, 14.4, 5.77, 5.77), rel=0.005)
    assert 29.1 <= combined(*terms) <= 29.3
    assert round(2 * combined(*terms)) == 59


def test_independent_terms_combine_as_the_root_of_the_sum_of_squares() -> None:
    # GUM 5.1.2, from memory; sensitivities 2 and 0.5: √((2 × 0.15)² + (0.5 × 0.8)²) = √(0.09 + 0.16) = 0.5
    assert combined(2 * 0.15, 0.5 * 0.8) == pytest.approx(0.5, rel=1e-12)
