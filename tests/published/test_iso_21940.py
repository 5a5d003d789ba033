"""Tolerances, proving and index balancing against ISO 21940-11, -14 and -21 and a textbook."""

from cmath import rect
from math import radians, sin

import pytest

from buildbook.balance.proving import index_balance, proving_spin, unbalance_reduction_ratio
from buildbook.balance.tolerance import (
    GRADES,
    grade_name,
    grade_value,
    permissible_eccentricity,
    permissible_total,
    share,
)
from buildbook.balance.unbalance import NOTHING, MachineAngles, Plane, Planes, Unbalance


def at(amount: float, angle: float) -> complex:
    return rect(amount, radians(angle))


def test_grades_are_those_of_the_standard() -> None:
    # ISO 1940-1:2003, table 1, in GOST ISO 1940-1-2007: G 4000 to G 16 read there, G 6.3 to G 0.4 from memory
    assert [grade_name(value) for value in GRADES[::-1]] == [
        "G4000", "G1600", "G630", "G250", "G100", "G40", "G16", "G6.3", "G2.5", "G1", "G0.4",
    ]  # fmt: skip
    assert grade_value("G16") == 16
    assert grade_value("G 6.3") == 6.3


@pytest.mark.parametrize(
    ("grade", "by_speed"),
    [
        (0.4, (3.820, 2.546, 1.273, 0.637)),
        (1, (9.549, 6.366, 3.183, 1.592)),
        (2.5, (23.873, 15.915, 7.958, 3.979)),
        (6.3, (60.161, 40.107, 20.054, 10.027)),
        (16, (152.789, 101.859, 50.930, 25.465)),
        (40, (381.972, 254.648, 127.324, 63.662)),
        (100, (954.930, 636.620, 318.310, 159.155)),
    ],
)
def test_permissible_eccentricity_by_grade_and_speed(grade: float, by_speed: tuple[float, ...]) -> None:
    # µm at 1000, 1500, 3000 and 6000 rpm: e_per = G/Ω, ISO 21940-11, from memory; derived
    assert [permissible_eccentricity(grade, speed) for speed in (1000, 1500, 3000, 6000)] == pytest.approx(
        by_speed, abs=0.0006
    )


def test_permissible_total_is_9549_2966_times_grade_and_mass_over_speed() -> None:
    # ISO 21940-11, from memory
    assert permissible_total(16, 24.6, 5200) == pytest.approx(9549.2966 * 16 * 24.6 / 5200, rel=1e-8)


def test_worked_example_of_an_inboard_rotor() -> None:
    # Annex of ISO 1940-1:2003, from memory: 3600 kg, 3000 rpm, G 2.5, L_A 1500, L_B 900, L 2400 mm; printed rounded as
    # 28.6e3, 10.7e3 and 17.9e3 g·mm. Which plane carries the letter A is from memory too.
    total = permissible_total(2.5, 3600, 3000)
    shares = share(total, front=0, rear=2400, mass_centre=1500)
    assert total == pytest.approx(28_648, rel=1e-4)
    assert (shares.front, shares.rear) == pytest.approx((10_743, 17_905), rel=1e-4)
    assert (total, shares.front, shares.rear) == pytest.approx((28.6e3, 10.7e3, 17.9e3), rel=5e-3)
    assert (shares.rule, shares.limited) == ("inboard", False)


def test_inboard_shares_stay_between_three_and_seven_tenths() -> None:
    # ISO 21940-11, from memory: with the worked example's total the limits are 8594 and 20 054 g·mm
    shares = share(permissible_total(2.5, 3600, 3000), front=0, rear=2400, mass_centre=2300)
    assert (shares.front, shares.rear) == pytest.approx((8594, 20_054), rel=1e-4)
    assert (shares.rule, shares.limited) == ("inboard", True)


@pytest.mark.parametrize(
    ("mass_centre", "front", "rear", "limited"),
    [(1250, 0.3, 1.25, True), (1400, 0.4, 1.3, True), (-1400, 1.3, 1.3, True), (-250, 1.25, 0.3, True)],
)
def test_outboard_shares_stay_between_three_and_thirteen_tenths(
    mass_centre: float, front: float, rear: float, limited: bool
) -> None:
    # ISO 21940-11, from memory, to be confirmed: bearings 1000 mm apart, the levers' shares 0.25/1.25, 0.4/1.4, 2.4/1.4
    shares = share(1000, front=0, rear=1000, mass_centre=mass_centre)
    assert (shares.front, shares.rear) == pytest.approx((1000 * front, 1000 * rear))
    assert (shares.rule, shares.limited) == ("outboard", limited)


def test_two_arbitrary_planes_get_half_each() -> None:
    # Bloch & Geitner, Machinery Component Maintenance and Repair, p. 301, note 1
    shares = share(1000, front=0, rear=1000, mass_centre=None)
    assert (shares.front, shares.rear, shares.rule, shares.limited) == (500, 500, "halves", False)


def test_four_w_over_n_is_grade_0_665_for_each_journal() -> None:
    # API 617, from memory: U = 4 W/N, W [lb], N [rpm], U [oz·in]; in kg and g·mm that is 6350 W/N
    journal, speed = 26.5, 5000.0
    limit = 4 * journal / speed * 28.349523125 * 25.4
    assert permissible_total(0.66497, journal * 0.45359237, speed) == pytest.approx(limit, rel=1e-5)


def test_fifty_pounds_a_thousandth_of_an_inch_off_are_0_8_ounce_inches() -> None:
    # Mancuso, Turbomachinery Symposium; the copy read prints 8 oz·in, a lost decimal point.
    # A grade of e·Ω allows exactly e: 0.001 in = 25.4 µm.
    speed = 3000.0
    grade = 25.4 / permissible_eccentricity(1.0, speed)
    assert permissible_total(grade, 50 * 0.45359237, speed) == pytest.approx(0.8 * 28.349523125 * 25.4, rel=1e-9)


FIXTURE, PART = at(120, 40), at(75, 200)


@pytest.mark.parametrize(
    "readings",
    [
        pytest.param({0: (55.772151, 67.38285), 180: (192.196429, 32.33013)}, id="by 180"),
        pytest.param(
            {0: (55.772151, 67.38285), 120: (152.153433, 10.95903), 240: (183.885290, 55.19882)}, id="in three steps"
        ),
        # 120 at 40° + 75 at 290°
        pytest.param({0: (55.772151, 67.38285), 90: (117.765179, 3.240805)}, id="two readings, a quarter apart"),
    ],
)
def test_indexing_tells_the_part_from_the_fixture(readings: dict[float, tuple[float, float]]) -> None:
    # ISO 21940-14; the 180° plot is described in Bloch & Geitner p. 312, fig. 6-38; numbers constructed
    both = [(angle, Unbalance(at(*reading), at(*reading) * 2j)) for angle, reading in readings.items()]
    found = index_balance(both, repeatability=1.0)
    assert found.fixture.front == pytest.approx(FIXTURE, abs=1e-5)
    assert found.part.front == pytest.approx(PART, abs=1e-5)
    assert found.fixture.rear == pytest.approx(FIXTURE * 2j, abs=1e-5)
    assert found.part.rear == pytest.approx(PART * 2j, abs=1e-5)


def test_a_reduction_ratio_of_95_per_cent_leaves_five_of_a_hundred() -> None:
    # ISO 21940-21; Bloch & Geitner, p. 291: URR = (U₁ − U₂)/U₁
    assert unbalance_reduction_ratio(100, 5) == pytest.approx(0.95)


@pytest.mark.parametrize(
    ("error", "residual"),
    [(1, 1.7), (2, 3.5), (3, 5.2), (4, 7.0), (5, 8.7), (6, 10.5), (8, 14.0), (10, 17.4), (12, 20.9), (15, 26.1)],
)
def test_an_angle_error_alone_leaves_its_residual(error: float, residual: float) -> None:
    # Bloch & Geitner, table 6-3: per cent left by a correction of the right amount at a wrong angle
    planes = Planes(Plane(0, 80), Plane(400, 80))
    spin = proving_spin(NOTHING, planes.carry(at(2000, 30 + error), 0), at(2000, 30), 0, planes, MachineAngles(), 0.0)
    assert 100 * (1 - spin.reduction_ratio) == pytest.approx(residual, abs=0.06)
    assert 100 * (1 - spin.reduction_ratio) == pytest.approx(200 * sin(radians(error / 2)), rel=1e-9)
