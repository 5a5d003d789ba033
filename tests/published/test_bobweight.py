"""Bobweights against common practice and a textbook's single cylinders."""

from fractions import Fraction

import pytest

from buildbook.balance.bobweights import CylinderWeights, Weighed, bobweight
from buildbook.balance.layouts import Pin


def _weighed(what: str, weight: str) -> Weighed:
    return Weighed(what, Fraction(weight), 0.0)


def test_two_rods_on_a_throw_at_half_the_reciprocating_weight() -> None:
    # common practice, no source: about 1778.4 g, in two halves of 889.2 g
    cylinder = CylinderWeights(
        reciprocating=(
            _weighed("piston_with_pin", "632.84"),
            _weighed("rod_small_end", "153.9"),
            _weighed("ring_set", "55.41"),
            _weighed("pin_locks", "3.8"),
        ),
        rotating=(_weighed("rod_big_end", "421.0"), _weighed("rod_bearing", "43.5")),
    )
    throw = bobweight(
        "1", [Pin(0, ("1", "2"))], {"1": cylinder, "2": cylinder}, factor=Fraction(50), oil=Fraction("3.5")
    )
    assert float(throw.total) == pytest.approx(1778.4, abs=0.1)
    assert float(throw.half) == pytest.approx(889.2, abs=0.05)


@pytest.mark.parametrize(
    ("rotating", "reciprocating", "factor", "radius", "balance_radius", "balance"),
    [
        # Bevan, Theory of Machines, ch. 14, ex. 5: lb and in; the printed 318.8, from a companion to the book
        pytest.param("180", "150", Fraction(50), "7.5", "6", 318.75, id="Bevan"),
        # Sarkar, Theory of Machines, ch. 12, ex. 1: kg and m; from a companion to the book
        pytest.param("70", "120", Fraction(200, 3), "0.09", "0.15", 90.0, id="Sarkar"),
    ],
)
def test_balance_weight_of_a_single_cylinder(
    rotating: str, reciprocating: str, factor: Fraction, radius: str, balance_radius: str, balance: float
) -> None:
    # balance weight × its radius = (rotating + c × reciprocating) × crank radius
    cylinder = CylinderWeights((_weighed("piston", reciprocating),), (_weighed("rod_big_end", rotating),))
    throw = bobweight("1", [Pin(0, ("1",))], {"1": cylinder}, factor, oil=Fraction(0))
    assert float(throw.total * Fraction(radius) / Fraction(balance_radius)) == pytest.approx(balance, rel=1e-3)
