"""Free forces and moments against the motion of every piston, worked out another way."""

from cmath import exp
from math import cos, pi, radians

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from buildbook.balance.layouts import KNOWN, known_layout, spelled_layout
from buildbook.balance.shaking import (
    SIDES,
    Circles,
    Piston,
    Turning,
    at_angle,
    can_be_changed,
    left,
    middle,
    nominal_pistons,
    order,
    order_coefficient,
    pistons,
    positions,
    turn,
    two_terms,
)

angles = st.floats(0, 359.9)
places = st.floats(-500, 500)
weights = st.floats(50, 2000)
moving = st.lists(st.builds(Piston, weights, angles, angles, places), min_size=1, max_size=16)
turning = st.lists(st.builds(Turning, st.floats(-2000, 2000), angles, places), max_size=8)
ratios = st.floats(0.15, 0.5)
vectors = st.complex_numbers(max_magnitude=1e3, allow_subnormal=False)  # a tenth of the shortest subnormal is nothing

STEPS = 2048


def moved(engine: list[Piston], around: list[Turning], ratio: float) -> tuple[np.ndarray, np.ndarray]:
    """Force and moment at even steps of one turn, by differentiating where every piston is: its place is sampled round
    the turn and differentiated twice in the frequency domain, which for so smooth a motion is exact."""
    theta = 2 * pi * np.arange(STEPS) / STEPS
    force, moment = np.zeros(STEPS, complex), np.zeros(STEPS, complex)
    for piston in engine:
        t = theta + radians(piston.pin_angle - piston.bank_angle)
        place = np.cos(t) + np.sqrt(1 - (ratio * np.sin(t)) ** 2) / ratio
        harmonics = np.fft.fftfreq(STEPS, 1 / STEPS)
        spectrum = np.fft.fft(place)
        spectrum[np.abs(harmonics) > 200] = 0  # the rest is rounding, which squared harmonics would blow up
        outward = -np.fft.ifft(-(harmonics**2) * spectrum).real
        vector = piston.weight * outward * exp(1j * radians(piston.bank_angle))
        force += vector
        moment += piston.position * vector
    for mass in around:
        vector = mass.weight * np.exp(1j * (theta + radians(mass.pin_angle)))
        force += vector
        moment += mass.position * vector
    return force, moment


def circles(vectors: np.ndarray, number: int) -> Circles:
    """What turns with the crankshaft and against it at so many times its speed, by the Fourier integral."""
    theta = 2 * pi * np.arange(STEPS) / STEPS
    forward = np.mean(vectors * np.exp(-1j * number * theta))
    backward = np.mean(vectors * np.exp(1j * number * theta))
    return Circles(complex(forward), complex(backward))


@settings(max_examples=40)
@given(moving, turning, ratios)
def test_orders_are_those_of_the_motion_of_every_piston(
    engine: list[Piston], around: list[Turning], ratio: float
) -> None:
    force, moment = moved(engine, around, ratio)
    scale = sum(each.weight for each in engine) + sum(abs(each.weight) for each in around)
    for number in (1, 2, 4):
        found = order(number, engine, around, order_coefficient(number, ratio))
        assert found.force == pytest.approx(circles(force, number), abs=1e-9 * scale)
        assert found.moment == pytest.approx(circles(moment, number), abs=1e-9 * 500 * scale)


@settings(max_examples=20)
@given(moving, turning, ratios, st.integers(0, STEPS - 1))
def test_force_and_moment_at_any_angle_are_those_of_the_motion(
    engine: list[Piston], around: list[Turning], ratio: float, step: int
) -> None:
    force, moment = moved(engine, around, ratio)
    scale = sum(each.weight for each in engine) + sum(abs(each.weight) for each in around)
    found = at_angle(360 * step / STEPS, engine, around, ratio)
    assert found[0] == pytest.approx(force[step], abs=1e-9 * scale)
    assert found[1] == pytest.approx(moment[step], abs=1e-9 * 500 * scale)


@given(vectors, vectors)
@example(1 + 0j, 2 + 5e-324j)
def test_the_axes_are_the_largest_and_smallest_of_the_ellipse(forward: complex, backward: complex) -> None:
    path = [forward * exp(1j * t) + backward * exp(-1j * t) for t in np.linspace(0, 2 * pi, 3601)]
    sizes = [abs(each) for each in path]
    found = Circles(forward, backward)
    assert max(sizes) == pytest.approx(found.largest, rel=1e-5, abs=1e-9)
    assert min(sizes) == pytest.approx(found.smallest, rel=1e-3, abs=1e-3 * found.largest + 1e-9)
    if found.smallest < 0.9 * found.largest:
        longest = path[sizes.index(max(sizes))]
        across = longest * exp(-1j * radians(found.direction))
        assert abs(across.imag) < 0.1 * found.largest


@settings(max_examples=30)
@given(moving, ratios)
def test_counterweights_of_fifty_per_cent_leave_nothing_that_turns_with_the_crankshaft(
    engine: list[Piston], ratio: float
) -> None:
    counterweights = [Turning(-each.weight / 2, each.pin_angle, each.position) for each in engine]
    found = order(1, engine, counterweights)
    scale = sum(each.weight for each in engine)
    assert abs(found.force.with_crank) < 1e-12 * scale
    assert abs(found.moment.with_crank) < 1e-12 * 500 * scale


@settings(max_examples=25)
@given(st.lists(st.builds(Piston, weights, angles, angles, places), min_size=1, max_size=6), ratios)
@pytest.mark.parametrize("least", SIDES)
def test_no_other_factor_leaves_less(least: str, engine: list[Piston], ratio: float) -> None:
    found = left(engine, ratio, least)
    best = found.at(found.best())
    other = minimize_scalar(found.at, bounds=(0, 100), method="bounded")
    tolerance = 1e-6 * found.scale
    assert best <= other.fun + tolerance
    assert all(best <= found.at(factor) + tolerance for factor in range(0, 101, 2))


def test_a_lone_cylinder_needs_all_of_it_up_and_down_and_nothing_sideways() -> None:
    alone = nominal_pistons(known_layout("single"))
    assert left(alone, 1e-6, "vertical").best() == pytest.approx(100, abs=1e-3)
    assert left(alone, 1e-6, "horizontal").best() == pytest.approx(0, abs=1e-3)
    assert left(alone, 1e-6, "force").best() == pytest.approx(50, abs=1e-3)
    assert left(alone, 1e-6, "force").at(50) == pytest.approx(0.5, abs=1e-5)


def test_on_a_flat_floor_the_middle_is_meant() -> None:
    # up and down, what is left at 90° is the second order alone, and no factor near 100 % makes more of it
    alone = left(nominal_pistons(known_layout("single")), 0.25, "vertical")
    floor = alone.at(alone.best())
    low = next(factor / 100 for factor in range(10_000) if alone.at(factor / 100) <= floor + 1e-6)
    high = next(factor / 100 for factor in range(10_000, 0, -1) if alone.at(factor / 100) <= floor + 1e-6)
    assert alone.best() == pytest.approx((low + high) / 2, abs=0.02)


@pytest.mark.parametrize("name", ["i4", "i6", "v8_90_flat_plane", "v12_60", "flat_4", "flat_6"])
def test_where_the_crankpins_cancel_no_factor_matters(name: str) -> None:
    engine = nominal_pistons(known_layout(name))
    assert not any(can_be_changed(engine, least) for least in SIDES)
    # and what is left is then the same for every factor
    for least in SIDES:
        found = left(engine, 0.3, least)
        assert found.at(0) == pytest.approx(found.at(100), abs=1e-9 * found.scale)


@settings(max_examples=20)
@given(st.lists(st.builds(Piston, weights, angles, angles, places), min_size=1, max_size=6), ratios)
def test_the_two_terms_are_the_series_of_every_piston(engine: list[Piston], ratio: float) -> None:
    counterweights = [Turning(-300.0, each.pin_angle, each.position) for each in engine]
    found = two_terms(order(1, engine, counterweights), order(2, engine, coefficient=ratio))
    for angle in (0, 37, 200):
        vector = moment = 0j
        for each in engine:
            t = radians(angle + each.pin_angle - each.bank_angle)
            own = each.weight * (cos(t) + ratio * cos(2 * t)) * exp(1j * radians(each.bank_angle))
            own -= 300.0 * exp(1j * radians(angle + each.pin_angle))
            vector, moment = vector + own, moment + each.position * own
        assert found.force[angle] == pytest.approx(vector, abs=1e-6)
        assert found.moment[angle] == pytest.approx(moment, abs=1e-4)


@pytest.mark.parametrize("name", KNOWN)
def test_cylinders_of_a_throw_stand_around_it_and_banks_are_evenly_spaced(name: str) -> None:
    layout = known_layout(name)
    found = positions(layout, 100.0, 20.0)
    for bank in layout.banks:
        line = sorted(found[each.name] for each in layout.cylinders.values() if each.bank == bank)
        assert np.diff(line) == pytest.approx([100.0] * (len(line) - 1))
    first = [found[each.name] for each in layout.cylinders.values() if each.throw == "1"]
    assert sum(first) == pytest.approx(0)


def test_throws_of_their_own_are_evenly_spaced_where_no_offset_is_known() -> None:
    found = positions(known_layout("flat_4"), 100.0, None)
    assert found == {"1": 0.0, "2": 50.0, "3": 100.0, "4": 150.0}
    assert positions(known_layout("flat_4"), 100.0, 40.0) == {"1": 0.0, "2": 40.0, "3": 100.0, "4": 140.0}
    assert middle(found) == 75.0


def test_no_throw_stands_before_the_one_in_front_of_it_where_banks_do_not_take_turns() -> None:
    layout = spelled_layout(
        {"left": -90, "right": 90},
        {"1": (0, {"1": "left"}), "2": (180, {"2": "left"}), "3": (0, {"3": "right"}), "4": (180, {"4": "right"})},
    )
    assert positions(layout, 100.0, 30.0) == {"1": 0.0, "2": 50.0, "3": 100.0, "4": 150.0}


def test_three_banks_stand_one_behind_the_other() -> None:
    layout = spelled_layout(
        {"left": -60, "middle": 0, "right": 60},
        {"1": (0, {"1": "left", "2": "middle", "3": "right"}), "2": (180, {"4": "left", "5": "middle", "6": "right"})},
    )
    found = positions(layout, 100.0, 10.0)
    assert found == pytest.approx({"1": -10, "2": 0, "3": 10, "4": 90, "5": 100, "6": 110})


def test_a_rod_no_longer_than_the_crank_radius_cannot_turn() -> None:
    with pytest.raises(ValueError, match="cannot go round"):
        turn([Piston(1.0, 0.0, 0.0, 0.0)], [], 1.0)


def test_what_is_wanted_least_has_a_name() -> None:
    with pytest.raises(KeyError):
        left([Piston(1.0, 0.0, 0.0, 0.0)], 0.3, "noise")


def test_weights_of_a_build_sit_in_their_own_cylinders() -> None:
    layout = known_layout("i3")
    engine = pistons(layout, {"1": 0.0, "2": 100.0, "3": 200.0}, {"1": 10.0, "2": 20.0, "3": 30.0})
    assert [(each.weight, each.position) for each in engine] == [(10.0, -100.0), (20.0, 0.0), (30.0, 100.0)]
