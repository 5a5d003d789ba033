"""The slider-crank against its Fourier series and Khurmi, Theory of Machines.

"Companion" means that the book's inputs and its printed result were read in a companion to the book.
"""

from math import cos, pi

import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from buildbook.fits.motion import (
    fastest,
    piston_acceleration,
    piston_speed,
    piston_travel,
    two_term_acceleration,
)

# A crank of 1 m turning at 1 rad/s: r ω² = 1 m/s², so that accelerations come out as multiples of r ω².
STROKE, SPEED = 2000.0, 30 / pi


def fourier(order: int, crank_over_rod: float) -> float:
    """The coefficient of cos(order × t), from equal steps of the exact acceleration round one turn."""
    steps = 360
    return (
        sum(
            piston_acceleration(360 * k / steps, STROKE, STROKE / 2 / crank_over_rod, SPEED)
            * cos(2 * pi * order * k / steps)
            for k in range(steps)
        )
        * 2
        / steps
    )


# λ, and the second, fourth and sixth order: derived from the series in λ, whose leading terms have the form given by
# Den Hartog and by Taylor (from memory).
ORDERS = [
    (1 / 5, 0.2020384, -0.0020618, 0.0000237),
    (0.22, 0.2227242, -0.0027622, 0.0000385),
    (1 / 4, 0.2540250, -0.0040981, 0.0000744),
    (1 / 3.5, 0.2917795, -0.0062105, 0.0001487),
    (0.3, 0.3070507, -0.0072377, 0.0001919),
    (1 / 3, 0.3431086, -0.0100991, 0.0003344),
    (0.4, 0.4173253, -0.0181747, 0.0008906),
    (0.5, 0.5355529, -0.0384261, 0.0031027),
]


@pytest.mark.parametrize(("crank_over_rod", "second", "fourth", "sixth"), ORDERS)
def test_orders_of_the_exact_acceleration(crank_over_rod: float, second: float, fourth: float, sixth: float) -> None:
    assert fourier(1, crank_over_rod) == pytest.approx(1, abs=1e-12)
    assert fourier(2, crank_over_rod) == pytest.approx(second, abs=1e-6)
    assert fourier(4, crank_over_rod) == pytest.approx(fourth, abs=1e-6)
    assert fourier(6, crank_over_rod) == pytest.approx(sixth, abs=1e-6)
    assert fourier(3, crank_over_rod) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(("rod_over_crank", "second"), [(5, 0.2020), (4, 0.2540), (3.5, 0.2918), (3, 0.3431)])
def test_second_order_by_the_handbook(rod_over_crank: float, second: float) -> None:
    # handbook table of A₂ for l/r, from memory; within its last digit
    assert fourier(2, 1 / rod_over_crank) == pytest.approx(second, abs=1e-4)


@pytest.mark.parametrize(
    ("angle", "exact", "two_terms"),
    [
        (0, 1.250000, 1.250000),
        (20, 1.133540, 1.131204),
        (30, 0.995013, 0.991025),
        (45, 0.711204, 0.707107),
        (60, 0.375112, 0.375000),
        (75, 0.036779, 0.042313),
        (90, -0.258199, -0.250000),
        (120, -0.624888, -0.625000),
        (150, -0.737038, -0.741025),
        (180, -0.750000, -0.750000),
    ],
)
def test_exact_acceleration_beside_two_terms(angle: float, exact: float, two_terms: float) -> None:
    # λ = 1/4, as multiples of r ω²; derived, within 1e-6
    assert piston_acceleration(angle, STROKE, 4000, SPEED) == pytest.approx(exact, abs=1e-6)
    assert two_term_acceleration(angle, STROKE, 4000, SPEED) == pytest.approx(two_terms, abs=1e-6)


def two_term_speed(angle: float, stroke: float, rod_length: float, speed: float) -> float:
    """The speed [m/s] that the two-term acceleration builds up from top dead centre."""
    seconds_a_degree = 1 / (6 * speed)
    gained: float = quad(lambda at: two_term_acceleration(at, stroke, rod_length, speed), 0, angle)[0]
    return gained * seconds_a_degree


def two_term_zero(low: float, high: float, stroke: float, rod_length: float, speed: float) -> float:
    """The angle [deg] between two others at which the two-term acceleration is zero."""
    return float(brentq(lambda at: two_term_acceleration(at, stroke, rod_length, speed), low, high))


def test_speed_and_acceleration_of_a_long_crank() -> None:
    # Khurmi, ex. 15.4: r 0.3 m, l 1.5 m, 180 rpm, 40°; companion, in two terms: 4.19 m/s, 85.36 m/s², zero at 79.27°.
    # More digits of those and the exact values are derived; within 0.1 %.
    crank = (600.0, 1500.0, 180.0)
    assert two_term_speed(40, *crank) == pytest.approx(4.1918, rel=1e-4)
    assert two_term_speed(40, *crank) == pytest.approx(4.19, rel=1e-3)
    assert two_term_acceleration(40, *crank) == pytest.approx(85.356, rel=1e-5)
    assert two_term_acceleration(40, *crank) == pytest.approx(85.36, rel=1e-3)
    assert two_term_zero(0, 180, *crank) == pytest.approx(79.272, abs=0.001)
    assert two_term_zero(180, 360, *crank) == pytest.approx(280.728, abs=0.001)
    assert piston_speed(40, *crank) == pytest.approx(4.1964, rel=1e-4)
    assert piston_acceleration(40, *crank) == pytest.approx(85.599, rel=1e-4)


def test_inertia_force_of_a_heavy_piston() -> None:
    # Khurmi, ex. 15.6: stroke 0.2 m, rod 0.4 m, 500 rpm, which the book rounds to 52.4 rad/s, 180 kg, 60°;
    # companion, in two terms: 18.53 kN. The exact 18.539 kN is derived; within 0.1 %.
    crank = (200.0, 400.0, 52.4 * 30 / pi)
    assert 180 * two_term_acceleration(60, *crank) == pytest.approx(18_534, rel=1e-4)
    assert 180 * two_term_acceleration(60, *crank) == pytest.approx(18_530, rel=1e-3)
    assert 180 * piston_acceleration(60, *crank) == pytest.approx(18_539, rel=1e-4)


def test_where_the_piston_is_fastest() -> None:
    # Khurmi, ex. 15.3: r 0.3 m, l 1.0 m, 200 rpm; companion, in two terms: 75° and 6.54 m/s, within 0.1 %. The exact
    # maximum lies elsewhere, λ being 0.3, and within 1 %.
    crank = (600.0, 1000.0, 200.0)
    angle = two_term_zero(0, 180, *crank)
    assert angle == pytest.approx(74.955, rel=1e-5)
    assert angle == pytest.approx(75, rel=1e-3)
    assert two_term_speed(angle, *crank) == pytest.approx(6.540, rel=1e-3)
    assert fastest(*crank) == pytest.approx((75, 6.540), rel=0.01)


def test_ten_millimetres_down() -> None:
    # Khurmi, ex. 15.9: r 50 mm, l 200 mm, 10 mm from top dead centre at 33°; companion, by measurement on a drawing,
    # within 1 %. 9.929 mm is derived.
    assert piston_travel(33, 100, 200) == pytest.approx(10, rel=0.01)
    assert piston_travel(33, 100, 200) == pytest.approx(9.929, abs=5e-4)
