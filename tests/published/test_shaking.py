"""Free forces and moments against a handbook's table and worked examples.

Sources are named beside each value. The table of free forces and moments in the Bosch Automotive Handbook is from
memory; where no source is named the value is our own direct summation, kept as a check on the sums and not as an
outside source. "Companion" means that the book's inputs and its printed result were read in a companion to the book.
"""

from math import cos, pi, radians, sin, sqrt, tan

import pytest

from buildbook.balance.layouts import KNOWN, known_layout, spelled_layout
from buildbook.balance.shaking import Order, Piston, Turning, left, nominal_pistons, order, order_coefficient
from published.test_motion import ORDERS

NOTHING = (0.0, 0.0)
STRAIGHT = (1.0, 0.0)
V6_90_SPLIT = (sqrt(3) * (cos(pi / 12) + sin(pi / 12)), sqrt(3) * (cos(pi / 12) - sin(pi / 12)))
FIVE_1, FIVE_2 = 0.4490, 4.9798  # Bosch, from memory: the moments of an inline five, 0.449 and 4.98


def vee(angle: float, order: int, split: float = 0) -> tuple[float, float]:
    """Of two cylinders on one throw, in one cylinder's force: the half that turns with the crankshaft and the half that
    turns against it, cos(k split/2 + (k − 1) V/2) and cos(k split/2 + (k + 1) V/2); our own derivation."""
    half = radians(angle) / 2
    with_crank = abs(cos(order * radians(split) / 2 + (order - 1) * half))
    against_crank = abs(cos(order * radians(split) / 2 + (order + 1) * half))
    return with_crank + against_crank, abs(with_crank - against_crank)


def times(factor: float, axes: tuple[float, float]) -> tuple[float, float]:
    return factor * axes[0], factor * axes[1]


# layout: force and moment of the first order, then of the second: largest and smallest of the ellipse
TABLE = {
    "single": (STRAIGHT, NOTHING, STRAIGHT, NOTHING),
    "i2_180": (NOTHING, STRAIGHT, (2, 0), NOTHING),
    "i2_270": ((sqrt(2), 0), (sqrt(2) / 2, 0), NOTHING, STRAIGHT),
    "i2_360": ((2, 0), NOTHING, (2, 0), NOTHING),
    "i3": (NOTHING, (sqrt(3), 0), NOTHING, (sqrt(3), 0)),  # Bosch, from memory
    "i4": (NOTHING, NOTHING, (4, 0), NOTHING),  # Bosch, from memory
    "i4_cross_plane": (NOTHING, (sqrt(10), 0), NOTHING, NOTHING),
    "i5": (NOTHING, (FIVE_1, 0), NOTHING, (FIVE_2, 0)),  # Bosch, from memory
    "i6": (NOTHING, NOTHING, NOTHING, NOTHING),  # Bosch, from memory; Rao, fig. 9.48
    "v2_45_common_pin": (vee(45, 1), NOTHING, vee(45, 2), NOTHING),
    "v2_45_split_pin_90": ((sqrt(2) / 2, sqrt(2) / 2), NOTHING, vee(45, 2, 90), NOTHING),
    "v2_60_common_pin": ((1.5, 0.5), NOTHING, (0.8660, 0.8660), NOTHING),
    "v2_90_common_pin": ((1, 1), NOTHING, (sqrt(2), 0), NOTHING),
    "v4_60_split_pin_120": (NOTHING, vee(60, 1, 120), times(2, vee(60, 2, 120)), NOTHING),
    "v4_90": (NOTHING, (1, 1), (2 * sqrt(2), 0), NOTHING),
    "v6_60_common_pin": (NOTHING, times(sqrt(3), vee(60, 1)), NOTHING, times(sqrt(3), vee(60, 2))),
    "v6_60_split_pin_60": (NOTHING, (1.5, 1.5), NOTHING, (1.5, 1.5)),  # Bosch, from memory: 3/2 and 3/2
    "v6_90_common_pin": (NOTHING, (sqrt(3), sqrt(3)), NOTHING, (sqrt(6), 0)),  # Bosch, from memory
    "v6_90_split_pin_30": (NOTHING, V6_90_SPLIT, NOTHING, V6_90_SPLIT),  # Bosch, from memory: (0.966 ± 0.256) √3
    "v8_90_cross_plane": (NOTHING, (sqrt(10), sqrt(10)), NOTHING, NOTHING),  # Bosch, from memory
    "v8_90_flat_plane": (NOTHING, NOTHING, (4 * sqrt(2), 0), NOTHING),
    "v10_72_common_pin": (NOTHING, times(FIVE_1, vee(72, 1)), NOTHING, times(FIVE_2, vee(72, 2))),
    "v10_90_common_pin": (NOTHING, (FIVE_1, FIVE_1), NOTHING, (sqrt(2) * FIVE_2, 0)),
    "v10_90_split_pin_18": (NOTHING, times(FIVE_1, vee(90, 1, -18)), NOTHING, times(FIVE_2, vee(90, 2, -18))),
    "v12_60": (NOTHING, NOTHING, NOTHING, NOTHING),  # Bosch, from memory
    "flat_2": (NOTHING, STRAIGHT, NOTHING, STRAIGHT),
    "flat_4": (NOTHING, NOTHING, NOTHING, (2, 0)),  # Bosch, from memory: 2 F₂ b
    "flat_6": (NOTHING, NOTHING, NOTHING, NOTHING),  # Bosch, from memory
}


def test_every_known_layout_is_in_the_table() -> None:
    assert TABLE.keys() == KNOWN.keys()


def axes(found: Order) -> tuple[tuple[float, float], tuple[float, float]]:
    return (found.force.largest, found.force.smallest), (found.moment.largest, found.moment.smallest)


@pytest.mark.parametrize("name", TABLE)
def test_free_forces_and_moments_are_those_of_the_handbook(name: str) -> None:
    engine = nominal_pistons(known_layout(name))
    found = (*axes(order(1, engine)), *axes(order(2, engine)))
    for ours, theirs in zip(found, TABLE[name], strict=True):
        assert ours == pytest.approx(theirs, abs=1e-4)


def test_what_a_counterweight_cancels_and_what_it_leaves() -> None:
    # 90° cross-plane V8 and V2: all of it turns with the crankshaft. V6 90 with 30° split pins: √3 sin 15° = 0.4483
    # stays, against the crankshaft (Bosch, from memory: 0.4483)
    v8 = order(1, nominal_pistons(known_layout("v8_90_cross_plane"))).moment
    assert (abs(v8.with_crank), abs(v8.against_crank)) == pytest.approx((sqrt(10), 0), abs=1e-9)
    v2 = order(1, nominal_pistons(known_layout("v2_90_common_pin"))).force
    assert (abs(v2.with_crank), abs(v2.against_crank)) == pytest.approx((1, 0), abs=1e-9)
    v6 = order(1, nominal_pistons(known_layout("v6_90_split_pin_30"))).moment
    assert abs(v6.against_crank) == pytest.approx(0.4483, abs=5e-5)
    assert left(nominal_pistons(known_layout("v8_90_cross_plane")), 0.29, "moment").best() == pytest.approx(
        50, abs=1e-3
    )


@pytest.mark.parametrize("angle", [45, 52.5, 75, 120, 180])
def test_v_twins_of_any_angle_follow_the_general_formula(angle: float) -> None:
    # order 1: 2 cos²(V/2) and 2 sin²(V/2); order 2: up and down 2 cos(V/2) cos V, sideways 2 sin(V/2) sin V
    half, engine = radians(angle) / 2, nominal_pistons(known_layout(f"v2_{angle}_common_pin"))
    first = sorted((2 * cos(half) ** 2, 2 * sin(half) ** 2), reverse=True)
    second = sorted((abs(2 * cos(half) * cos(2 * half)), abs(2 * sin(half) * sin(2 * half))), reverse=True)
    assert axes(order(1, engine))[0] == pytest.approx(tuple(first), abs=1e-9)
    assert axes(order(2, engine))[0] == pytest.approx(tuple(second), abs=1e-9)


def test_a_broad_arrow_twelve() -> None:
    # three banks at 60°, throws 0/180/180/0: second order 6 sideways and 2 up and down
    names = iter(range(1, 13))
    banks = {"left": -60.0, "middle": 0.0, "right": 60.0}
    throws = {
        str(throw): (float(angle), {str(next(names)): bank for bank in banks})
        for throw, angle in enumerate((0, 180, 180, 0), start=1)
    }
    engine = nominal_pistons(spelled_layout(banks, throws))
    for each in axes(order(1, engine)):
        assert each == pytest.approx(NOTHING, abs=1e-9)
    second = order(2, engine).force
    assert axes(order(2, engine))[0] == pytest.approx((6, 2), abs=1e-9)
    assert second.direction == pytest.approx(90)


def radial(weight: float) -> list[Piston]:
    """Three cylinders round one crankpin."""
    return [Piston(weight, 0.0, angle, 0.0) for angle in (0.0, 120.0, 240.0)]


def test_a_three_cylinder_radial_with_the_first_order_with_the_crank_and_the_second_against_it() -> None:
    first, second = order(1, radial(1.0)).force, order(2, radial(1.0)).force
    assert (abs(first.with_crank), abs(first.against_crank)) == pytest.approx((1.5, 0), abs=1e-9)
    assert (abs(second.with_crank), abs(second.against_crank)) == pytest.approx((0, 1.5), abs=1e-9)


def test_a_three_cylinder_radial_by_bevan() -> None:
    # Bevan, The Theory of Machines, ch. 14, ex. 12: 1500 rpm, 4 lb, stroke 5 in, rod 9 in, balance at 3.5 in.
    # Companion: 4.29 lb of balance (4.286), and 266.07 lb of second order; within 0.1 %
    first = order(1, radial(4.0)).force
    assert abs(first.with_crank) * 2.5 / 3.5 == pytest.approx(4.286, rel=1e-3)
    omega, standard_gravity = 2 * pi * 1500 / 60, 32.174
    two_terms = order(2, radial(4.0), coefficient=2.5 / 9).force
    assert two_terms.largest * (2.5 / 12) * omega**2 / standard_gravity == pytest.approx(266.07, rel=1e-3)


def test_a_three_cylinder_radial_in_newtons() -> None:
    # stroke 120 mm, rod 240 mm, 1 kg, 2400 rpm: a textbook's statement, read; 5684.9 N and 1421.2 N are derived
    newton = 0.060 * (2 * pi * 2400 / 60) ** 2
    assert order(1, radial(1.0)).force.largest * newton == pytest.approx(5684.9, rel=1e-4)
    assert order(2, radial(1.0), coefficient=0.25).force.largest * newton == pytest.approx(1421.2, rel=1e-4)


@pytest.mark.parametrize(("angle", "offset"), [(45, 90), (52, 76), (60, 60), (75, 30)])
def test_the_crankpin_offset_that_frees_a_v_twin_of_the_first_order_against_the_crank(angle: int, offset: int) -> None:
    # 180° − 2 V, an article on mass balance in motorradonline, read: then 50 % leaves no force of the first order
    engine = nominal_pistons(known_layout(f"v2_{angle}_split_pin_{offset}"))
    assert abs(order(1, engine).force.against_crank) == pytest.approx(0, abs=1e-9)


def test_the_factor_of_a_v6_of_90_degrees_with_even_firing() -> None:
    # what the trade uses for it is 36.6 % (common practice, from memory): there the moment is sideways alone. By our
    # own derivation that is 50 (1 − tan 15°): what is left turning with the crankshaft is then what turns against it
    engine = nominal_pistons(known_layout("v6_90_split_pin_30"))
    upright = left(engine, 1e-6, "moment_vertical")
    assert upright.best() == pytest.approx(36.6, abs=0.05)
    assert upright.best() == pytest.approx(50 * (1 - tan(pi / 12)), abs=1e-4)
    assert upright.at(upright.best()) == pytest.approx(0, abs=1e-5)
    assert left(engine, 1e-6, "moment").best() == pytest.approx(50, abs=1e-3)


@pytest.mark.parametrize(("crank_to_rod", "second", "fourth", "sixth"), ORDERS)
def test_coefficients_of_the_slider_crank(crank_to_rod: float, second: float, fourth: float, sixth: float) -> None:
    found = [order_coefficient(number, crank_to_rod) for number in (1, 2, 4, 6)]
    assert found == pytest.approx([1, second, fourth, sixth], abs=1e-6)


def test_a_single_cylinder_by_sarkar() -> None:
    # Sarkar, Theory of Machines, ch. 12, ex. 1: 120 kg up and down, 70 kg round, r 0.09 m, 250 rpm, c = 2/3, balance at
    # 0.15 m, 30° from top dead centre. Companion: 90.0 kg, 3263.97 N (with π = 3.141 and 57.3); within 0.02 %
    engine = [Piston(120.0, 0.0, 0.0, 0.0)]
    hung = 70 + 2 / 3 * 120
    assert hung * 0.09 / 0.15 == pytest.approx(90.0)
    found = order(1, engine, [Turning(70.0, 0.0, 0.0), Turning(-hung, 0.0, 0.0)]).force
    turned = pi / 6
    vector = found.with_crank * complex(cos(turned), sin(turned))
    vector += found.against_crank * complex(cos(turned), -sin(turned))
    newton = 0.09 * (2 * pi * 250 / 60) ** 2
    assert abs(vector) * newton == pytest.approx(3264.06, rel=2e-4)


def test_a_single_cylinder_by_bevan() -> None:
    # Bevan, ch. 14, ex. 5: 180 lb round, 150 lb up and down, c = 0.5, 300 rpm, r 7.5 in, balance at 6 in, g 32.2.
    # Companion: 318.75 lb; 1436.8 lb left; within 0.1 %
    hung = 180 + 150 / 2
    assert hung * 7.5 / 6 == pytest.approx(318.75)
    found = order(1, [Piston(150.0, 0.0, 0.0, 0.0)], [Turning(180.0 - hung, 0.0, 0.0)]).force
    assert abs(found.with_crank) < 1e-9
    omega = 2 * pi * 300 / 60
    assert found.largest * (7.5 / 12) * omega**2 / 32.2 == pytest.approx(1436.8, rel=1e-3)
