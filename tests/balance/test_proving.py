from cmath import rect
from math import degrees, pi, radians, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.balance.proving import (
    Diagnosis,
    ProvingSpin,
    difference,
    index_balance,
    proving_spin,
    repeatability_of,
    response,
    unbalance_reduction_ratio,
)
from buildbook.balance.unbalance import NOTHING, BalancingError, MachineAngles, Plane, Planes, Unbalance

PLANES = Planes(Plane(-54, 88), Plane(389, 91))
MACHINE = MachineAngles(zero=20, positive="against_rotation")
U = 10.0  # repeatability [g·mm]
TEST_MASS = rect(20 * 88, radians(75))

vectors = st.builds(rect, st.floats(0.01, 5000), st.floats(-pi, pi))
unbalances = st.builds(Unbalance, vectors, vectors)


def at(amount: float, angle: float) -> complex:
    return rect(amount, radians(angle))


def mirrored(vector: complex) -> complex:
    return vector.conjugate() * at(1, 2 * MACHINE.zero)


def answer_with(
    answered: Unbalance, test_mass: complex = TEST_MASS, position: float = -54, repeatability: float = U
) -> ProvingSpin:
    base = Unbalance(at(800, 212), at(5800, 48))
    return proving_spin(base, base + answered, test_mass, position, PLANES, MACHINE, repeatability)


def close(one: Unbalance, other: Unbalance, within: float) -> bool:
    return max(abs(one.front - other.front), abs(one.rear - other.rear)) <= within


def test_a_machine_that_answers_as_it_should() -> None:
    spin = answer_with(Unbalance(TEST_MASS, 0))
    assert spin.expected == Unbalance(TEST_MASS, 0)
    assert spin.scale == pytest.approx(1)
    assert spin.angle == pytest.approx(0, abs=1e-9)
    assert spin.cross_talk == pytest.approx(0, abs=1e-9)
    assert spin.reduction_ratio == pytest.approx(1)
    assert spin.diagnoses == (Diagnosis.AS_IT_SHOULD_BE,)


def test_scale_angle_and_cross_talk_with_their_uncertainties() -> None:
    # 8 % too much, 3° ahead, and 6 % of the mass read at the rear; √2 × 10 g·mm over a mass of 1760 g·mm is 0.80 %
    spin = answer_with(Unbalance(TEST_MASS * at(1.08, 3), TEST_MASS * at(0.06, 120)))
    assert spin.scale == pytest.approx(1.08)
    assert spin.angle == pytest.approx(3)
    assert spin.cross_talk == pytest.approx(0.06)
    assert spin.uncertainty == pytest.approx(sqrt(2) * 10 / 1760)
    assert spin.angle_uncertainty == pytest.approx(degrees(sqrt(2) * 10 / 1760 / 1.08))


@pytest.mark.parametrize(
    ("answered", "diagnoses"),
    [
        pytest.param(Unbalance(TEST_MASS * 1.04, 0), (Diagnosis.AS_IT_SHOULD_BE,), id="4 per cent off"),
        pytest.param(Unbalance(TEST_MASS * at(1, 2), 0), (Diagnosis.AS_IT_SHOULD_BE,), id="2 degrees off"),
        pytest.param(Unbalance(TEST_MASS * 1.25, 0), (Diagnosis.RADIUS_WRONG,), id="a quarter too much"),
        pytest.param(Unbalance(TEST_MASS * 0.8, 0), (Diagnosis.RADIUS_WRONG,), id="a fifth too little"),
        pytest.param(Unbalance(TEST_MASS * at(1, 30), 0), (Diagnosis.ZERO_OFF,), id="30 degrees off"),
        pytest.param(
            Unbalance(-TEST_MASS, 0), (Diagnosis.SIDE_SWAPPED, Diagnosis.ZERO_OFF), id="opposite, or zero half off"
        ),
        pytest.param(
            Unbalance(mirrored(TEST_MASS), 0),
            (Diagnosis.DIRECTION_SWAPPED, Diagnosis.ZERO_OFF),
            id="mirrored, or zero off by as much",
        ),
        pytest.param(Unbalance(0, TEST_MASS * 91 / 88), (Diagnosis.PLANES_MIXED_UP,), id="in the other plane"),
        pytest.param(Unbalance(TEST_MASS * at(1.3, 20), 0), (Diagnosis.SCALE_AND_ANGLE,), id="scale and angle"),
        pytest.param(
            Unbalance(TEST_MASS, TEST_MASS * 0.3), (Diagnosis.PLANES_NOT_APART,), id="a third in the other plane"
        ),
        pytest.param(
            Unbalance(TEST_MASS * 3, TEST_MASS * 0.12),
            (Diagnosis.RADIUS_WRONG,),
            id="three times as much, 4 % of it far",
        ),
        pytest.param(NOTHING, (Diagnosis.NO_ANSWER,), id="no answer"),
    ],
)
def test_what_an_answer_points_to(answered: Unbalance, diagnoses: tuple[Diagnosis, ...]) -> None:
    assert answer_with(answered).diagnoses == diagnoses


@pytest.mark.parametrize(
    "rear",
    [
        pytest.param(TEST_MASS, id="pickups: the machine reckons with its own radii"),
        pytest.param(TEST_MASS * 150 / 60, id="readings: grams written down under the other plane"),
    ],
)
def test_planes_mixed_up_where_their_radii_differ(rear: complex) -> None:
    planes = Planes(Plane(0, 60), Plane(400, 150))
    spin = proving_spin(NOTHING, Unbalance(0, rear), TEST_MASS, 0, planes, MACHINE, U)
    assert spin.diagnoses == (Diagnosis.PLANES_MIXED_UP,)


def test_a_test_mass_on_the_machines_zero_cannot_tell_the_direction() -> None:
    on_zero = at(1760, MACHINE.zero)
    assert answer_with(Unbalance(on_zero, 0), on_zero).diagnoses == (
        Diagnosis.AS_IT_SHOULD_BE,
        Diagnosis.DIRECTION_SWAPPED,
    )


def test_a_test_mass_a_quarter_round_from_zero_cannot_tell_direction_from_side() -> None:
    quarter = at(1760, MACHINE.zero + 90)
    assert answer_with(Unbalance(-quarter, 0), quarter).diagnoses == (
        Diagnosis.SIDE_SWAPPED,
        Diagnosis.DIRECTION_SWAPPED,
        Diagnosis.ZERO_OFF,
    )


def test_a_test_mass_midway_cannot_tell_planes_of_one_radius_apart() -> None:
    planes = Planes(Plane(0, 90), Plane(400, 90))
    half = Unbalance(TEST_MASS / 2, TEST_MASS / 2)
    spin = proving_spin(NOTHING, half, TEST_MASS, 200, planes, MACHINE, U)
    assert spin.diagnoses == (Diagnosis.AS_IT_SHOULD_BE, Diagnosis.PLANES_MIXED_UP)


def test_a_wrong_radius_hides_in_the_scatter_of_a_poor_machine_and_shows_on_a_good_one() -> None:
    answered = Unbalance(TEST_MASS * 1.1, 0)
    assert answer_with(answered, repeatability=30).diagnoses == (Diagnosis.AS_IT_SHOULD_BE,)
    assert answer_with(answered, repeatability=1).diagnoses == (Diagnosis.RADIUS_WRONG,)


def test_a_test_mass_lost_in_the_scatter_proves_nothing() -> None:
    small = at(20, 75)
    assert answer_with(Unbalance(small, 0), small).diagnoses == (Diagnosis.TOO_SMALL,)


def test_a_test_mass_of_nothing_is_refused() -> None:
    with pytest.raises(BalancingError, match="proves nothing"):
        answer_with(NOTHING, test_mass=0j)


def test_no_answer_has_no_direction() -> None:
    spin = answer_with(NOTHING)
    assert spin.scale == 0
    assert spin.angle_uncertainty == pytest.approx(180 / sqrt(3))


@given(unbalances, vectors, st.floats(-500, 800), unbalances, st.floats(-180, 180), st.floats(0.1, 100))
def test_turning_everything_and_the_machines_zero_leaves_the_proof_as_it_was(
    base: Unbalance, test_mass: complex, position: float, answered: Unbalance, angle: float, repeatability: float
) -> None:
    turn = at(1, angle)
    machine = MachineAngles(MACHINE.zero + angle, MACHINE.positive)
    straight = proving_spin(base, base + answered, test_mass, position, PLANES, MACHINE, repeatability)
    turned = proving_spin(
        base * turn, (base + answered) * turn, test_mass * turn, position, PLANES, machine, repeatability
    )
    assert turned.ratio == pytest.approx(straight.ratio, rel=1e-6, abs=1e-6)
    assert turned.cross_talk == pytest.approx(straight.cross_talk, rel=1e-6, abs=1e-6)
    assert turned.reduction_ratio == pytest.approx(straight.reduction_ratio, rel=1e-6, abs=1e-6)
    assert turned.diagnoses == straight.diagnoses


@given(vectors, st.floats(-500, 800), st.floats(0.2, 5), st.floats(-3, 3))
def test_a_scale_and_an_angle_set_wrong_are_found_again(
    test_mass: complex, position: float, scale: float, angle: float
) -> None:
    answered = PLANES.carry(test_mass, position) * rect(scale, angle)
    spin = proving_spin(NOTHING, answered, test_mass, position, PLANES, MACHINE, 0.0)
    assert spin.scale == pytest.approx(scale)
    assert radians(spin.angle) == pytest.approx(angle, abs=1e-9)
    assert spin.cross_talk < 1e-9


HOLES = [Unbalance(at(-3000, 48), 0), Unbalance(0, at(-1800, 210)), Unbalance(at(-900, 130), at(-400, 300))]


def changed(observed: list[Unbalance]) -> list[tuple[Unbalance, Unbalance]]:
    return list(zip(HOLES, observed, strict=True))


def test_corrections_that_answered_as_predicted() -> None:
    found = response(changed(HOLES), MACHINE, U, density=7.83)
    assert found.ratio == pytest.approx(1)
    assert found.reduction_ratio == pytest.approx(1)
    assert found.diagnoses == (Diagnosis.AS_IT_SHOULD_BE,)
    length = sqrt(3000**2 + 1800**2 + 900**2 + 400**2)
    assert found.uncertainty == pytest.approx(sqrt(2) * U / length)


@pytest.mark.parametrize(
    ("observed", "diagnoses"),
    [
        pytest.param([each * 1.2 for each in HOLES], (Diagnosis.RADIUS_WRONG,), id="a fifth more"),
        pytest.param([each * 0.92 for each in HOLES], (Diagnosis.DENSITY, Diagnosis.RADIUS_WRONG), id="iron"),
        pytest.param([each * 0.7 for each in HOLES], (Diagnosis.RADIUS_WRONG,), id="lighter than any crankshaft"),
        pytest.param([each * at(1, 25) for each in HOLES], (Diagnosis.ZERO_OFF,), id="turned"),
        pytest.param([-each for each in HOLES], (Diagnosis.SIDE_SWAPPED, Diagnosis.ZERO_OFF), id="opposite"),
        pytest.param(
            [Unbalance(mirrored(each.front), mirrored(each.rear)) for each in HOLES],
            (Diagnosis.DIRECTION_SWAPPED,),
            id="mirrored",
        ),
        pytest.param([each * at(1.4, 25) for each in HOLES], (Diagnosis.SCALE_AND_ANGLE,), id="more and turned"),
        pytest.param([HOLES[0], HOLES[1] * 1j, HOLES[2]], (Diagnosis.UNEXPLAINED,), id="one astray"),
        pytest.param([NOTHING] * 3, (Diagnosis.NO_ANSWER,), id="no answer"),
    ],
)
def test_what_the_answers_to_corrections_point_to(observed: list[Unbalance], diagnoses: tuple[Diagnosis, ...]) -> None:
    # another density is offered only where 7.83 g/cm³ × ratio is that of some crankshaft, 7.1 to 7.87
    assert response(changed(observed), MACHINE, U, density=7.83).diagnoses == diagnoses


def test_holes_measured_to_the_tip_are_told_from_a_wrong_radius_when_they_differ() -> None:
    to_tip = [each * factor for each, factor in zip(HOLES, (0.9, 0.6, 0.7), strict=True)]
    alternatives = {Diagnosis.DEPTH_TO_TIP: to_tip, Diagnosis.DEPTH_TO_SHOULDER: [each * 1.3 for each in HOLES]}
    found = response(changed(to_tip), MACHINE, U, density=7.83, alternatives=alternatives)
    assert found.diagnoses == (Diagnosis.DEPTH_TO_TIP,)
    found = response(changed(HOLES), MACHINE, U, alternatives=alternatives)
    assert found.diagnoses == (Diagnosis.AS_IT_SHOULD_BE,)


def test_of_two_alternatives_that_fit_the_nearer_comes_first() -> None:
    near, far = [each * 0.85 for each in HOLES], [each * 0.88 for each in HOLES]
    alternatives = {Diagnosis.DEPTH_TO_SHOULDER: far, Diagnosis.DEPTH_TO_TIP: near}
    found = response(changed(near), MACHINE, 1.0, alternatives=alternatives)
    assert found.diagnoses == (Diagnosis.DEPTH_TO_TIP, Diagnosis.DEPTH_TO_SHOULDER, Diagnosis.RADIUS_WRONG)


@pytest.mark.parametrize("changes", [[], [(NOTHING, Unbalance(5, 5))]])
def test_no_correction_gives_no_response(changes: list[tuple[Unbalance, Unbalance]]) -> None:
    with pytest.raises(BalancingError, match="no correction"):
        response(changes, MACHINE, U)


def test_a_correction_that_made_it_worse_has_a_negative_reduction_ratio() -> None:
    assert unbalance_reduction_ratio(100, 200) == -1


@given(unbalances, unbalances, st.floats(0.1, 100))
def test_the_own_unbalance_of_a_part_is_the_difference_of_two_spins(
    without: Unbalance, own: Unbalance, repeatability: float
) -> None:
    found = difference(without, without + own, repeatability)
    assert close(found.change, own, 1e-9 * (abs(without.front) + abs(without.rear) + 10_000))
    assert found.uncertainty == pytest.approx(sqrt(2) * repeatability)


@pytest.mark.parametrize(
    ("change", "told"),
    [(Unbalance(28.2, 28.2j), False), (Unbalance(28.4, 0), True), (Unbalance(0, -28.4j), True), (NOTHING, False)],
)
def test_a_part_is_neutral_within_twice_the_uncertainty_of_a_difference(change: Unbalance, told: bool) -> None:
    # 2 × √2 × 10 g·mm = 28.28 g·mm at either plane
    before = Unbalance(512, 256j)
    assert difference(before, before + change, U).distinguishable is told


@given(unbalances, unbalances, st.lists(st.floats(0, 359), min_size=1, max_size=6), st.floats(10, 350))
def test_indexing_finds_part_and_fixture_from_any_angles(
    fixture: Unbalance, part: Unbalance, more: list[float], turned: float
) -> None:
    readings = [(angle, fixture + part * at(1, angle)) for angle in (0.0, turned, *more)]
    found = index_balance(readings, U)
    assert close(found.part, part, 1e-6)
    assert close(found.fixture, fixture, 1e-6)
    assert found.scatter == pytest.approx(0, abs=1e-6)


@given(st.integers(2, 12), unbalances)
def test_equal_steps_are_uncertain_by_root_n(steps: int, reading: Unbalance) -> None:
    found = index_balance([(360 * step / steps, reading) for step in range(steps)], U)
    assert found.uncertainty == pytest.approx(U / sqrt(steps))
    assert close(found.fixture, reading, 1e-6)
    assert close(found.part, NOTHING, 1e-6)


def test_a_small_index_angle_is_paid_for_in_uncertainty() -> None:
    # C = (R₀ − R_φ)/(1 − e^(iφ)): √2·u over 2 sin(φ/2)
    readings = [(0.0, Unbalance(100, 0)), (20.0, Unbalance(100, 0))]
    assert index_balance(readings, U).uncertainty == pytest.approx(sqrt(2) * U / abs(1 - at(1, 20)))


def test_scatter_of_three_readings_is_what_part_and_fixture_leave() -> None:
    # equal steps with x off by +3, 0 and 0 in front: fixture takes 1, part takes 1 of each turn; what is left
    # has a sum of squares of 9 − 3 × 1 − 3 × 1 = 3, over 4 degrees of freedom
    readings = [(0.0, Unbalance(3, 0)), (120.0, NOTHING), (240.0, NOTHING)]
    found = index_balance(readings, U)
    assert found.scatter == pytest.approx(sqrt(3 / 4))
    assert index_balance(readings[:2], U).scatter is None


@pytest.mark.parametrize("angles", [[], [0.0], [0.0, 0.0], [0.0, 360.0], [45.0, 45.0, 405.0]])
def test_a_part_that_was_not_turned_is_refused(angles: list[float]) -> None:
    with pytest.raises(BalancingError, match="not turned"):
        index_balance([(angle, Unbalance(1, 1)) for angle in angles], U)


def test_repeatability_is_pooled_over_components_planes_and_states() -> None:
    # differences of 2, 4, 6 and 8 between two spins of one state: squared deviations 2, 8, 18, 32, one degree each;
    # a state spun once adds nothing
    twice = [Unbalance(10 + 20j, 30 + 40j), Unbalance(12 + 24j, 36 + 48j)]
    once = [Unbalance(500, 700)]
    assert repeatability_of([twice, once]) == pytest.approx(sqrt((2 + 8 + 18 + 32) / 4))
    assert repeatability_of([once]) is None
    assert repeatability_of([]) is None


@given(st.lists(unbalances, min_size=2, max_size=5), unbalances)
def test_repeatability_does_not_depend_on_the_state(spins: list[Unbalance], shift: Unbalance) -> None:
    assert repeatability_of([[each + shift for each in spins]]) == pytest.approx(
        repeatability_of([spins]), rel=1e-6, abs=1e-6
    )
