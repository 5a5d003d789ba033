"""Influence coefficients against a textbook."""

from cmath import rect
from math import radians

import pytest

from buildbook.balance.influence import Trial, balance_by_influence, influence_coefficients
from buildbook.balance.unbalance import MachineAngles


def at(amount: float, angle: float) -> complex:
    return rect(amount, radians(angle))


def test_two_plane_turbine_rotor() -> None:
    # S. S. Rao, Mechanical Vibrations, two-plane turbine rotor example, inputs and answer from memory; weights in oz
    first = {"A": at(8.5, 60), "B": at(6.5, 205)}
    coefficients = influence_coefficients(
        first,
        {
            "left": Trial(at(10, 270), {"A": at(6.0, 125), "B": at(4.5, 230)}),
            "right": Trial(at(12, 180), {"A": at(6.0, 35), "B": at(10.5, 160)}),
        },
    )
    assert coefficients["left"]["A"] == pytest.approx(at(0.80711, 287.6435), abs=1e-5)
    assert coefficients["right"]["A"] == pytest.approx(at(0.33131, 99.6275), abs=1e-5)
    assert coefficients["left"]["B"] == pytest.approx(at(0.30791, 76.8562), abs=1e-5)
    assert coefficients["right"]["B"] == pytest.approx(at(0.62350, 302.0988), abs=1e-5)

    correction = balance_by_influence(first, coefficients)
    assert -correction.weights["left"] == pytest.approx(-8.2930 + 5.6879j, abs=1e-4)
    assert -correction.weights["right"] == pytest.approx(-2.1773 - 5.4592j, abs=1e-4)
    shown = {plane: MachineAngles().to_machine(weight) for plane, weight in correction.weights.items()}
    assert shown["left"] == pytest.approx((10.0561, 325.5548), rel=5e-5)
    assert shown["right"] == pytest.approx((5.8774, 68.2559), rel=5e-5)
    assert correction.expected_residual == pytest.approx(0, abs=1e-12)
