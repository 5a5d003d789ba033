import subprocess
import sys
from cmath import rect
from math import pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.balance.influence import (
    Coefficients,
    Readings,
    Trial,
    balance_by_influence,
    influence_coefficients,
)
from buildbook.balance.unbalance import BalancingError

vectors = st.builds(rect, st.floats(0.1, 10), st.floats(-pi, pi))
READINGS = ("front bearing, 900 rpm", "rear bearing, 900 rpm", "front bearing, 1500 rpm", "rear bearing, 1500 rpm")


def answers(coefficients: Coefficients, weights: dict[str, complex]) -> dict[str, complex]:
    """What a linear rotor shows for weights at its planes."""
    return {
        name: sum((column[name] * weights[plane] for plane, column in coefficients.items()), 0j)
        for name in next(iter(coefficients.values()))
    }


def added(first: Readings, more: Readings) -> dict[str, complex]:
    return {name: first[name] + more[name] for name in first}


@st.composite
def rotors(draw: st.DrawFn, planes: int | None = None, readings: int | None = None) -> Coefficients:
    """Planes that the readings tell apart well: each reading answers its own plane most."""
    count = planes or draw(st.integers(1, 2))
    names = READINGS[: readings or draw(st.integers(count, 4))]
    own = st.builds(rect, st.floats(1, 2), st.floats(-pi, pi))
    other = st.builds(rect, st.floats(0, 0.5), st.floats(-pi, pi))
    return {
        plane: {name: draw(own if place % count == index else other) for place, name in enumerate(names)}
        for index, plane in enumerate(("front", "rear")[:count])
    }


@given(rotors(), vectors, vectors, vectors, vectors)
def test_trial_runs_of_a_linear_rotor_find_its_unbalance(
    rotor: Coefficients, front: complex, rear: complex, trial_front: complex, trial_rear: complex
) -> None:
    unbalance = {plane: weight for plane, weight in {"front": front, "rear": rear}.items() if plane in rotor}
    first = answers(rotor, unbalance)
    trials = {
        plane: Trial(weight, added(first, answers({plane: rotor[plane]}, {plane: weight})))
        for plane, weight in {"front": trial_front, "rear": trial_rear}.items()
        if plane in rotor
    }
    found = influence_coefficients(first, trials)
    correction = balance_by_influence(first, found)
    for plane in rotor:
        assert dict(found[plane]) == pytest.approx(dict(rotor[plane]), abs=1e-9)
        assert correction.weights[plane] == pytest.approx(-unbalance[plane], abs=1e-9)
    assert correction.expected_residual == pytest.approx(0, abs=1e-9)


@given(rotors(planes=2, readings=4), st.lists(vectors, min_size=4, max_size=4), vectors, vectors)
def test_no_other_weights_leave_less(
    rotor: Coefficients, amounts: list[complex], front: complex, rear: complex
) -> None:
    first = dict(zip(READINGS, amounts, strict=True))
    correction = balance_by_influence(first, rotor)
    for nudge in (0.001, 0.1, 1.0):
        weights = {
            "front": correction.weights["front"] + nudge * front,
            "rear": correction.weights["rear"] + nudge * rear,
        }
        left = added(first, answers(rotor, weights))
        assert sqrt(sum(abs(each) ** 2 for each in left.values()) / 4) >= correction.expected_residual - 1e-9
    expected = added(first, answers(rotor, dict(correction.weights)))
    assert dict(correction.expected) == pytest.approx(expected, abs=1e-9)


@given(rotors(), st.lists(vectors, min_size=4, max_size=4), st.floats(-pi, pi))
def test_turning_every_reading_turns_the_weights(rotor: Coefficients, amounts: list[complex], angle: float) -> None:
    first = dict(zip(rotor["front"], amounts, strict=False))
    straight = balance_by_influence(first, rotor)
    turned = balance_by_influence({name: each * rect(1, angle) for name, each in first.items()}, rotor)
    for plane in rotor:
        assert turned.weights[plane] == pytest.approx(straight.weights[plane] * rect(1, angle), abs=1e-9)
    assert turned.expected_residual == pytest.approx(straight.expected_residual, abs=1e-9)


@given(rotors(planes=2), st.lists(vectors, min_size=4, max_size=4))
def test_swapping_planes_and_the_order_of_readings_changes_nothing(rotor: Coefficients, amounts: list[complex]) -> None:
    first = dict(zip(rotor["front"], amounts, strict=False))
    straight = balance_by_influence(first, rotor)
    swapped = balance_by_influence(dict(reversed(first.items())), {name: rotor[name] for name in ("rear", "front")})
    assert dict(swapped.weights) == pytest.approx(dict(straight.weights), abs=1e-9)
    assert swapped.condition == pytest.approx(straight.condition)


@given(rotors(planes=2), st.floats(0.001, 1000))
def test_condition_does_not_depend_on_the_unit_of_a_planes_weight(rotor: Coefficients, factor: float) -> None:
    first = dict.fromkeys(rotor["front"], 1 + 0j)
    scaled = {"front": {name: each * factor for name, each in rotor["front"].items()}, "rear": rotor["rear"]}
    straight, other = balance_by_influence(first, rotor), balance_by_influence(first, scaled)
    assert other.condition == pytest.approx(straight.condition)
    assert other.weights["front"] * factor == pytest.approx(straight.weights["front"], abs=1e-9)


def test_one_plane_at_two_speeds_is_a_compromise() -> None:
    # coefficients 1 and 1, readings 3 and 5: the weight is −4, and 1 is left either way
    correction = balance_by_influence({"slow": 3, "fast": 5}, {"front": {"slow": 1, "fast": 1}})
    assert correction.weights["front"] == pytest.approx(-4)
    assert dict(correction.expected) == pytest.approx({"slow": -1, "fast": 1})
    assert correction.expected_residual == pytest.approx(1)
    assert correction.condition == pytest.approx(1)


def test_condition_of_two_planes_at_sixty_degrees() -> None:
    # unit columns with an inner product of cos 60° = 0.5 have singular values √1.5 and √0.5
    coefficients: Coefficients = {"front": {"a": 1, "b": 0}, "rear": {"a": 0.5, "b": sqrt(0.75)}}
    assert balance_by_influence({"a": 1, "b": 1}, coefficients).condition == pytest.approx(sqrt(3))


@pytest.mark.parametrize(
    ("trials", "message"),
    [
        ({}, "a first run and a trial run"),
        ({"front": Trial(0, {"a": 2, "b": 2})}, "trial weight at the front plane is nothing"),
        ({"front": Trial(5, {"a": 2})}, "same readings: b"),
        ({"front": Trial(5, {"a": 1, "b": 1j})}, "trial run at the front plane changed nothing"),
        ({"front": Trial(5, {"a": 2, "b": 1j}), "rear": Trial(5, {"a": 1, "b": 1j})}, "at the rear plane changed"),
    ],
)
def test_trials_that_give_no_coefficients_are_refused(trials: dict[str, Trial], message: str) -> None:
    with pytest.raises(BalancingError, match=message):
        influence_coefficients({"a": 1, "b": 1j}, trials)


def test_a_change_within_the_scatter_of_the_pickup_is_no_change() -> None:
    # 2 × √2 × 0.1 = 0.283
    first = {"a": 1 + 0j}
    with pytest.raises(BalancingError, match="changed nothing"):
        influence_coefficients(first, {"front": Trial(5, {"a": 1.28})}, repeatability=0.1)
    found = influence_coefficients(first, {"front": Trial(5, {"a": 1.29})}, repeatability=0.1)
    assert found["front"]["a"] == pytest.approx(0.058)


@pytest.mark.parametrize(
    ("readings", "coefficients", "message"),
    [
        ({"a": 1}, {"front": {"a": 1}, "rear": {"a": 2}}, r"fewer readings \(1\) than planes to correct in \(2\)"),
        ({"a": 1}, {}, "no plane has"),
        ({}, {"front": {}}, "changes no reading"),
        ({"a": 1, "b": 1}, {"front": {"a": 1}}, "do not match: b"),
        ({"a": 1}, {"front": {"a": 1, "c": 1}}, "do not match: c"),
        ({"a": 1, "b": 1}, {"front": {"a": 1, "b": 1}, "rear": {"a": 0, "b": 0}}, "rear plane changes no reading"),
    ],
)
def test_readings_that_give_no_weights_are_refused(
    readings: Readings, coefficients: Coefficients, message: str
) -> None:
    with pytest.raises(BalancingError, match=message):
        balance_by_influence(readings, coefficients)


@given(rotors(planes=1, readings=4), vectors)
def test_planes_that_act_alike_are_refused(rotor: Coefficients, factor: complex) -> None:
    alike = {"front": rotor["front"], "rear": {name: each * factor for name, each in rotor["front"].items()}}
    with pytest.raises(BalancingError, match="cannot tell the front and the rear plane apart"):
        balance_by_influence(rotor["front"], alike)


@given(rotors(planes=1, readings=2), st.floats(0, 0.01))
def test_planes_that_act_nearly_alike_are_refused(rotor: Coefficients, difference: float) -> None:
    nearly = dict(rotor["front"])
    nearly[READINGS[0]] *= 1 + difference
    with pytest.raises(BalancingError, match="cannot tell"):
        balance_by_influence(rotor["front"], {"front": rotor["front"], "rear": nearly})


def test_numpy_is_loaded_only_to_solve() -> None:
    code = "import sys, buildbook.balance.influence, buildbook.balance.proving; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
