from cmath import rect
from math import inf, nan, pi, radians
from typing import Literal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from buildbook.balance.unbalance import (
    NOTHING,
    BalancingError,
    MachineAngles,
    Plane,
    Planes,
    Unbalance,
    carry,
    missed_by,
    predicted,
)

amounts = st.floats(0.01, 10_000)
degrees_round = st.floats(0, 359.999)
positions = st.integers(-2000, 2000).map(float)
vectors = st.builds(rect, amounts, st.floats(-pi, pi))
unbalances = st.builds(Unbalance, vectors, vectors)
machines = st.builds(
    MachineAngles,
    zero=st.floats(-360, 360),
    positive=st.sampled_from(["with_rotation", "against_rotation"]),
    reading=st.sampled_from(["heavy_side", "light_side"]),
)


@st.composite
def planes_apart(draw: st.DrawFn) -> Planes:
    front, rear = draw(positions), draw(positions)
    assume(front != rear)
    return Planes(Plane(front, draw(st.floats(20, 200))), Plane(rear, draw(st.floats(20, 200))))


def close(one: Unbalance, other: Unbalance, size: float) -> bool:
    return max(abs(one.front - other.front), abs(one.rear - other.rear)) <= 1e-9 * size


@pytest.mark.parametrize(
    ("zero", "positive", "reading", "shaft"),
    [
        (0, "with_rotation", "heavy_side", 30),
        (0, "against_rotation", "heavy_side", -30),
        (0, "with_rotation", "light_side", 210),
        (0, "against_rotation", "light_side", 150),
        (90, "with_rotation", "heavy_side", 120),
        (90, "against_rotation", "heavy_side", 60),
        (90, "against_rotation", "light_side", 240),
    ],
)
def test_thirty_degrees_on_the_machine_by_its_way_of_counting(
    zero: float,
    positive: Literal["with_rotation", "against_rotation"],
    reading: Literal["heavy_side", "light_side"],
    shaft: float,
) -> None:
    vector = MachineAngles(zero, positive, reading).to_shaft(12.5, 30)
    assert vector == pytest.approx(rect(12.5, radians(shaft)), rel=1e-12)


@given(machines, amounts, degrees_round)
def test_a_reading_comes_back_from_the_shaft_as_it_was_read(
    machine: MachineAngles, amount: float, angle: float
) -> None:
    shown = machine.to_machine(machine.to_shaft(amount, angle))
    assert shown.amount == pytest.approx(amount)
    assert 0 <= shown.angle < 360
    assert abs((shown.angle - angle + 180) % 360 - 180) < 1e-9


@given(machines, vectors)
def test_a_shown_angle_is_never_360(machine: MachineAngles, vector: complex) -> None:
    nearly_zero = machine.to_shaft(1.0, -1e-15)
    assert machine.to_machine(nearly_zero).angle < 360
    assert machine.to_machine(vector).angle < 360


def test_a_vector_of_nothing_stands_at_zero() -> None:
    assert MachineAngles(40, "against_rotation", "light_side").to_machine(0j) == (0, 0)


@given(machines, amounts, degrees_round)
def test_mirrored_is_what_the_other_direction_setting_makes_of_the_same_reading(
    machine: MachineAngles, amount: float, angle: float
) -> None:
    other: Literal["with_rotation", "against_rotation"] = (
        "against_rotation" if machine.positive == "with_rotation" else "with_rotation"
    )
    set_wrong = MachineAngles(machine.zero, other, machine.reading)
    assert set_wrong.to_shaft(amount, angle) == pytest.approx(machine.mirrored(machine.to_shaft(amount, angle)))


@given(vectors, positions, planes_apart())
def test_carrying_keeps_the_force_and_the_moment(vector: complex, position: float, planes: Planes) -> None:
    carried = planes.carry(vector, position)
    size = abs(carried.front) + abs(carried.rear) + abs(vector)
    assert abs(carried.resultant - vector) <= 1e-9 * size
    moment = carried.front * planes.front.position + carried.rear * planes.rear.position
    assert abs(moment - vector * position) <= 1e-9 * size * 2000


@given(vectors, planes_apart())
def test_a_vector_in_a_plane_acts_there_alone(vector: complex, planes: Planes) -> None:
    assert planes.carry(vector, planes.front.position) == Unbalance(vector, 0)
    assert planes.carry(vector, planes.rear.position) == Unbalance(0, vector)


@given(unbalances, planes_apart(), st.none() | positions)
def test_static_and_couple_parts_recombine(state: Unbalance, planes: Planes, mass_centre: float | None) -> None:
    split = planes.split(state, mass_centre)
    size = sum(map(abs, (split.static.front, split.static.rear, split.couple_pair.rear, state.front, state.rear)))
    assert close(split.static + split.couple_pair, state, size)
    assert split.couple_pair.resultant == 0
    assert split.static.resultant == pytest.approx(state.resultant, rel=1e-6, abs=1e-9 * size)


def test_split_without_a_centre_of_mass_is_midway_and_with_one_about_it() -> None:
    planes = Planes(Plane(0, 80), Plane(400, 80))
    # 10 up in front, 30 up at the rear: midway 20 each, and 10 down in front with 10 up at the rear, 400 mm apart
    midway = planes.split(Unbalance(10, 30))
    assert (midway.about, midway.resultant, midway.couple) == (200, 40, 4000)
    assert midway.static == Unbalance(20, 20)
    assert midway.couple_pair == Unbalance(-10, 10)
    # 40 at 300 mm is 10 in front and 30 at the rear: about there it is all static
    about = planes.split(Unbalance(10, 30), mass_centre=300)
    assert about.couple == 0
    assert about.static == Unbalance(10, 30)


@given(unbalances, unbalances, unbalances)
def test_predictions_compose(state: Unbalance, first: Unbalance, second: Unbalance) -> None:
    size = sum(abs(each.front) + abs(each.rear) for each in (state, first, second))
    assert close(predicted(state, [first, second]), predicted(predicted(state, [first]), [second]), size)
    assert close(predicted(state, [first, -first]), state, size)
    assert predicted(state, []) == state


@given(unbalances, unbalances)
def test_a_spin_missed_by_what_must_be_added_to_the_prediction(measured: Unbalance, prediction: Unbalance) -> None:
    size = sum(abs(each.front) + abs(each.rear) for each in (measured, prediction))
    assert close(prediction + missed_by(measured, prediction), measured, size)
    assert missed_by(measured, measured) == NOTHING


@given(unbalances, planes_apart(), degrees_round)
def test_turning_every_angle_turns_both_parts(state: Unbalance, planes: Planes, angle: float) -> None:
    turn = rect(1, radians(angle))
    straight, turned = planes.split(state), planes.split(state * turn)
    size = abs(state.front) + abs(state.rear)
    assert close(turned.static, straight.static * turn, size)
    assert close(turned.couple_pair, straight.couple_pair * turn, size)


@given(unbalances, planes_apart(), vectors, positions)
def test_swapping_planes_swaps(state: Unbalance, planes: Planes, vector: complex, position: float) -> None:
    swapped = Planes(planes.rear, planes.front)
    carried, other = planes.carry(vector, position), swapped.carry(vector, position)
    assert (other.front, other.rear) == (carried.rear, carried.front)
    split, back = planes.split(state), swapped.split(Unbalance(state.rear, state.front))
    assert back.couple == pytest.approx(split.couple)
    assert (back.static.front, back.couple_pair.front) == pytest.approx((split.static.rear, split.couple_pair.rear))


@given(planes_apart(), vectors, vectors)
def test_grams_at_the_radius_and_back(planes: Planes, front: complex, rear: complex) -> None:
    state = planes.unbalance(front, rear)
    assert planes.front.weight(state.front) == pytest.approx(front)
    assert planes.rear.weight(state.rear) == pytest.approx(rear)
    assert state.front == pytest.approx(front * planes.front.radius)


def test_planes_at_the_same_place_are_refused_with_a_remedy() -> None:
    with pytest.raises(BalancingError, match="same place") as refused:
        Planes(Plane(20, 80), Plane(20, 90))
    assert refused.value.remedy == "give each plane its own position along the crankshaft"
    with pytest.raises(BalancingError, match="same place"):
        carry(5, 0, 20, 20)


@pytest.mark.parametrize("radius", [0, -88, nan, inf])
def test_a_radius_that_makes_no_unbalance_is_refused(radius: float) -> None:
    with pytest.raises(BalancingError, match="makes no unbalance"):
        Plane(0, radius)


@pytest.mark.parametrize("position", [nan, inf])
def test_a_plane_is_somewhere(position: float) -> None:
    with pytest.raises(BalancingError, match="nowhere"):
        Plane(position, 88)
