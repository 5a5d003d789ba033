"""The slider-crank against its own geometry, central differences and scipy."""

from collections.abc import Callable
from math import cos, hypot, inf, nan, pi, radians, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from buildbook.fits.motion import (
    displacement,
    fastest,
    mean_piston_speed,
    piston_acceleration,
    piston_speed,
    piston_travel,
    rod_bolt_load,
    rod_ratio,
    two_term_acceleration,
)

angles = st.floats(-720, 720)
strokes = st.floats(20, 300)
rod_ratios = st.floats(0.8, 4)
speeds = st.floats(100, 12_000)
masses = st.floats(50, 5000)


@st.composite
def cranks(draw: st.DrawFn) -> tuple[float, float]:
    """A stroke and a rod that goes with it [mm]."""
    stroke = draw(strokes)
    return stroke, stroke * draw(rod_ratios)


def _slope(function: Callable[[float], float], angle: float, speed: float) -> float:
    """How fast a function of the crank angle changes in a second, by a central difference."""
    step = 0.01
    return (function(angle + step) - function(angle - step)) / (2 * step) * 6 * speed


@given(cranks(), angles)
def test_the_rod_keeps_its_length(crank: tuple[float, float], angle: float) -> None:
    stroke, rod_length = crank
    radius = stroke / 2
    pin = radius + rod_length - piston_travel(angle, stroke, rod_length)
    across, along = radius * sin(radians(angle)), radius * cos(radians(angle))
    assert hypot(across, pin - along) == pytest.approx(rod_length, rel=1e-12)


@given(cranks())
def test_travel_is_nothing_at_the_top_and_the_stroke_at_the_bottom(crank: tuple[float, float]) -> None:
    assert piston_travel(0, *crank) == 0
    assert piston_travel(180, *crank) == pytest.approx(crank[0], rel=1e-14)
    assert piston_travel(360, *crank) == pytest.approx(0, abs=1e-12)


@given(cranks(), angles)
def test_the_piston_stays_in_its_stroke_and_comes_up_as_it_went_down(crank: tuple[float, float], angle: float) -> None:
    travel = piston_travel(angle, *crank)
    assert 0 <= travel <= crank[0] * (1 + 1e-12)
    assert piston_travel(-angle, *crank) == pytest.approx(travel, rel=1e-12)


@given(cranks())
def test_half_way_round_is_more_than_half_way_down(crank: tuple[float, float]) -> None:
    assert piston_travel(90, *crank) > crank[0] / 2


@given(cranks(), angles, speeds)
def test_speed_is_the_slope_of_travel(crank: tuple[float, float], angle: float, speed: float) -> None:
    slope = _slope(lambda at: piston_travel(at, *crank), angle, speed) / 1000
    assert piston_speed(angle, *crank, speed) == pytest.approx(slope, abs=1e-6 * mean_piston_speed(crank[0], speed))


@given(cranks(), angles, speeds)
def test_acceleration_is_the_slope_of_speed(crank: tuple[float, float], angle: float, speed: float) -> None:
    slope = _slope(lambda at: piston_speed(at, *crank, speed), angle, speed)
    largest = piston_acceleration(0, *crank, speed)
    assert piston_acceleration(angle, *crank, speed) == pytest.approx(slope, abs=1e-6 * largest)


@given(cranks(), speeds)
def test_two_terms_are_exact_at_both_dead_centres(crank: tuple[float, float], speed: float) -> None:
    for angle in (0, 180):
        exact = piston_acceleration(angle, *crank, speed)
        assert two_term_acceleration(angle, *crank, speed) == pytest.approx(exact, rel=1e-9)


@given(strokes, angles, speeds)
def test_two_terms_come_close_when_the_rod_is_long(stroke: float, angle: float, speed: float) -> None:
    # the first terms left out are of the order of λ³/4
    rod_length = 10 * stroke
    exact, largest = (piston_acceleration(at, stroke, rod_length, speed) for at in (angle, 0))
    assert two_term_acceleration(angle, stroke, rod_length, speed) == pytest.approx(exact, abs=0.05**3 / 2 * largest)


def test_two_terms_are_not_the_exact_acceleration() -> None:
    # a quarter turn, λ = 1/4: exactly −λ/√(1 − λ²) of r ω², in two terms −λ; r = 1 m and ω = 1 rad/s
    speed = 30 / pi
    assert piston_acceleration(90, 2000, 4000, speed) == pytest.approx(-0.25 / 0.9375**0.5)
    assert two_term_acceleration(90, 2000, 4000, speed) == pytest.approx(-0.25)


@given(cranks(), speeds)
def test_mean_speed_is_the_mean_of_the_speed_on_the_way_down(crank: tuple[float, float], speed: float) -> None:
    # between the middles of equal steps the rule is as good as exact for a smooth periodic function
    parts = 400
    mean = sum(abs(piston_speed((k + 0.5) * 360 / parts, *crank, speed)) for k in range(parts)) / parts
    assert mean_piston_speed(crank[0], speed) == pytest.approx(mean, rel=1e-4)


@given(cranks(), speeds)
def test_fastest_is_where_scipy_finds_it(crank: tuple[float, float], speed: float) -> None:
    found = minimize_scalar(
        lambda at: -piston_speed(at, *crank, speed), bounds=(0, 180), method="bounded", options={"xatol": 1e-6}
    )
    angle, there = fastest(*crank, speed)
    assert angle == pytest.approx(found.x, abs=1e-4)
    assert there == pytest.approx(-found.fun, rel=1e-11)


@given(cranks(), speeds)
def test_fastest_is_where_the_acceleration_changes_sign(crank: tuple[float, float], speed: float) -> None:
    angle, _ = fastest(*crank, speed)
    assert 0 < angle < 90
    assert piston_acceleration(angle - 1e-9, *crank, speed) > 0 > piston_acceleration(angle + 1e-9, *crank, speed)


@given(cranks(), speeds, masses, st.integers(1, 4))
def test_bolts_pull_the_piston_down_from_the_top(
    crank: tuple[float, float], speed: float, mass: float, bolts: int
) -> None:
    # twice the travel over the square of a short time, from geometry, is the acceleration from rest
    stroke, rod_length = crank
    step = 1e-3
    radius, time = stroke / 2000, step / (2 * pi * speed / 60)
    down = radius * (1 - cos(step)) + rod_length / 1000 * (
        1 - (1 - (radius * sin(step) * 1000 / rod_length) ** 2) ** 0.5
    )
    assert rod_bolt_load(mass, *crank, speed, bolts) * bolts == pytest.approx(
        mass / 1000 * 2 * down / time**2, rel=2e-6
    )


@given(cranks(), speeds, masses, masses)
def test_the_big_end_adds_its_pull_outwards(
    crank: tuple[float, float], speed: float, mass: float, big_end: float
) -> None:
    # m v²/r of the crankpin
    radius = crank[0] / 2000
    along = 2 * pi * radius * speed / 60
    alone, both = (rod_bolt_load(mass, *crank, speed, big_end=end) for end in (0, big_end))
    assert both - alone == pytest.approx(big_end / 1000 * along**2 / radius / 2, rel=1e-9)


@given(cranks(), speeds, masses)
def test_twice_the_speed_pulls_four_times_as_hard(crank: tuple[float, float], speed: float, mass: float) -> None:
    assert rod_bolt_load(mass, *crank, 2 * speed) == pytest.approx(4 * rod_bolt_load(mass, *crank, speed))


def test_displacement_counts_every_cylinder() -> None:
    # 100 mm each way: π/4 of a litre
    assert displacement(100, 100, 1) == pytest.approx(250 * pi)
    assert displacement(100, 100, 8) == pytest.approx(2000 * pi)


def test_rod_ratio_is_rod_over_stroke() -> None:
    assert rod_ratio(stroke=80, rod_length=140) == 1.75


def asked(
    *, angle: float = 30, stroke: float = 100, rod_length: float = 160, speed: float = 6000
) -> dict[str, Callable[[], object]]:
    """Every figure of a moving piston, by what it takes; each name tells the arguments that count."""
    return {
        "stroke, rod": lambda: rod_ratio(stroke, rod_length),
        "angle, stroke, rod": lambda: piston_travel(angle, stroke, rod_length),
        "angle, stroke, rod, speed": lambda: piston_speed(angle, stroke, rod_length, speed),
        "angle, stroke, rod, speed, exactly": lambda: piston_acceleration(angle, stroke, rod_length, speed),
        "angle, stroke, rod, speed, in two terms": lambda: two_term_acceleration(angle, stroke, rod_length, speed),
        "stroke, speed": lambda: mean_piston_speed(stroke, speed),
        "stroke, rod, speed": lambda: fastest(stroke, rod_length, speed),
        "stroke, rod, speed, mass": lambda: rod_bolt_load(600, stroke, rod_length, speed),
    }


def check_refused(argument: str, message: str, figures: dict[str, Callable[[], object]]) -> None:
    """Every figure that takes the argument refuses it."""
    for takes, ask in figures.items():
        if argument in takes:
            with pytest.raises(ValueError, match=message):
                ask()


@pytest.mark.parametrize("rod_length", [50, 49.9])
def test_a_rod_no_longer_than_the_crank_radius_is_refused(rod_length: float) -> None:
    check_refused("rod", "crank radius of 50 mm: it must be longer", asked(rod_length=rod_length))


@pytest.mark.parametrize("bad", [0, -1, nan, inf])
def test_what_must_be_above_zero_is_refused_by_name(bad: float) -> None:
    check_refused("stroke", r"the stroke is .* mm, where a number above zero", asked(stroke=bad))
    check_refused("rod", r"the rod length is .* mm, where a number above zero", asked(rod_length=bad))
    check_refused("speed", r"the speed is .* rpm, where a number above zero", asked(speed=bad))
    with pytest.raises(ValueError, match=r"the bore is .* mm, where a number above zero"):
        displacement(bad, 80, 4)
    with pytest.raises(ValueError, match=r"the stroke is .* mm, where a number above zero"):
        displacement(80, bad, 4)
    with pytest.raises(ValueError, match=r"the mass is .* g, where a number above zero"):
        rod_bolt_load(bad, 80, 140, 6000)


@pytest.mark.parametrize("bad", [nan, inf])
def test_an_angle_that_is_no_number_is_refused(bad: float) -> None:
    check_refused("angle", "no place of the crankshaft", asked(angle=bad))


def test_no_cylinders_no_bolts_and_a_big_end_below_nothing_are_refused() -> None:
    with pytest.raises(ValueError, match="number of cylinders is 0,"):
        displacement(80, 80, 0)
    with pytest.raises(ValueError, match="number of bolts is 0,"):
        rod_bolt_load(600, 80, 140, 6000, bolts=0)
    with pytest.raises(ValueError, match="big end is -1 g"):
        rod_bolt_load(600, 80, 140, 6000, big_end=-1)
