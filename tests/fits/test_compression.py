"""Compression against central differences, a root of the rod's own geometry, and plain volumes."""

from collections.abc import Callable
from math import cos, hypot, inf, nan, pi, radians, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from buildbook.fits.compression import (
    ClearanceVolume,
    bore_volume,
    clearance_for,
    compression_ratio,
    dynamic_ratio,
    effective_stroke,
    ratio_uncertainty,
)
from buildbook.fits.motion import displacement

lengths = st.floats(20, 300)
rod_ratios = st.floats(0.8, 4)
volumes = st.floats(5, 2000)
uncertainties = st.floats(0, 5)
closings = st.floats(-120, 120)


@given(lengths, lengths)
def test_one_cylinder_holds_what_its_piston_sweeps(diameter: float, length: float) -> None:
    assert bore_volume(diameter, length) == pytest.approx(displacement(diameter, length, 1))


def test_a_piston_above_its_deck_takes_volume_away() -> None:
    # a disc of 100 mm and 0.5 mm: π/4 × 10² × 0.05 cm
    assert bore_volume(100, 0.5) == pytest.approx(1.25 * pi)
    assert bore_volume(100, -0.5) == pytest.approx(-1.25 * pi)
    assert bore_volume(100, 0) == 0


def test_clearance_is_all_that_is_left_above_the_piston() -> None:
    assert ClearanceVolume(chamber=64.0, dish=-3.5, gasket=8.25, deck=1.5, ring_land=0.75).total == 71.0


@given(volumes, volumes)
def test_ratio_is_the_whole_volume_over_what_is_left(swept: float, clearance: float) -> None:
    assert compression_ratio(swept, clearance) == pytest.approx((swept + clearance) / clearance)


@given(volumes, volumes)
def test_the_clearance_for_a_ratio_gives_that_ratio(swept: float, clearance: float) -> None:
    ratio = compression_ratio(swept, clearance)
    assert clearance_for(swept, ratio) == pytest.approx(clearance, rel=1e-9)
    assert compression_ratio(swept, clearance_for(swept, 10.5)) == pytest.approx(10.5, rel=1e-12)


@given(volumes, volumes, uncertainties, uncertainties)
def test_uncertainty_follows_the_slopes_of_the_ratio(
    swept: float, clearance: float, u_swept: float, u_clearance: float
) -> None:
    by_swept, by_clearance = swept * 1e-5, clearance * 1e-5
    slope_swept = compression_ratio(swept + by_swept, clearance) - compression_ratio(swept - by_swept, clearance)
    slope_clearance = compression_ratio(swept, clearance + by_clearance) - compression_ratio(
        swept, clearance - by_clearance
    )
    expected = hypot(slope_swept / (2 * by_swept) * u_swept, slope_clearance / (2 * by_clearance) * u_clearance)
    assert ratio_uncertainty(swept, clearance, u_swept, u_clearance) == pytest.approx(expected, rel=1e-6)


@given(lengths, rod_ratios, closings)
def test_effective_stroke_is_where_the_rod_fits_between_crankpin_and_piston(
    stroke: float, ratio: float, intake_closes: float
) -> None:
    radius, rod_length = stroke / 2, stroke * ratio
    after_bottom = radians(intake_closes)
    across, along = radius * sin(after_bottom), -radius * cos(after_bottom)

    def too_long(travel: float) -> float:
        return hypot(across, radius + rod_length - travel - along) - rod_length

    travel = brentq(too_long, -stroke / 100, stroke * 1.01, xtol=1e-12)
    assert effective_stroke(stroke, rod_length, intake_closes) == pytest.approx(travel, abs=1e-9)


@given(lengths, lengths, rod_ratios, volumes, closings)
def test_dynamic_ratio_is_at_most_the_static_one(
    bore: float, stroke: float, ratio: float, clearance: float, intake_closes: float
) -> None:
    static = compression_ratio(bore_volume(bore, stroke), clearance)
    dynamic = dynamic_ratio(bore, stroke, stroke * ratio, clearance, intake_closes)
    assert 1 < dynamic <= static * (1 + 1e-12)
    assert dynamic_ratio(bore, stroke, stroke * ratio, clearance, 0) == pytest.approx(static, rel=1e-12)


@given(lengths, rod_ratios, st.floats(0, 170), st.floats(0.1, 9))
def test_the_later_the_valve_closes_the_less_stroke_is_left(
    stroke: float, ratio: float, intake_closes: float, later: float
) -> None:
    early, late = (effective_stroke(stroke, stroke * ratio, at) for at in (intake_closes, intake_closes + later))
    assert late < early


@pytest.mark.parametrize("bad", [0, -1, nan, inf])
def test_a_volume_of_nothing_is_refused_by_name(bad: float) -> None:
    asked: dict[str, Callable[[], float]] = {
        "diameter": lambda: bore_volume(bad, 80),
        "swept volume": lambda: compression_ratio(bad, 50),
        "clearance volume": lambda: compression_ratio(500, bad),
    }
    for name, ask in asked.items():
        with pytest.raises(ValueError, match=f"the {name} is .*above zero"):
            ask()
    with pytest.raises(ValueError, match=r"clearance volume is .*above zero"):
        ratio_uncertainty(500, bad, 1, 1)
    with pytest.raises(ValueError, match=r"clearance volume is .*above zero"):
        dynamic_ratio(86, 86, 143, bad, 60)
    with pytest.raises(ValueError, match=r"swept volume is .*above zero"):
        clearance_for(bad, 10)


@pytest.mark.parametrize("bad", [1, 0.5, -8, nan, inf])
def test_a_ratio_of_one_or_less_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="must be above one"):
        clearance_for(500, bad)


@pytest.mark.parametrize("bad", [180, -180, 250, nan])
def test_a_valve_that_never_leaves_a_stroke_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="leaves no stroke"):
        effective_stroke(86, 143, bad)


def test_a_rod_no_longer_than_the_crank_radius_compresses_nothing() -> None:
    with pytest.raises(ValueError, match="it must be longer"):
        effective_stroke(86, 43, 60)


def test_an_uncertainty_below_nothing_and_a_length_that_is_no_number_are_refused() -> None:
    with pytest.raises(ValueError, match="uncertainty of the swept volume is -1 cc"):
        ratio_uncertainty(500, 50, -1, 1)
    with pytest.raises(ValueError, match="uncertainty of the clearance volume is -1 cc"):
        ratio_uncertainty(500, 50, 1, -1)
    with pytest.raises(ValueError, match="gives no volume"):
        bore_volume(86, nan)
