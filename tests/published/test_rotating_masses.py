"""Rotating masses in one plane and two, and unbalance as weight × radius, against textbooks.

Units are each book's own: the rules are the same in pounds and inches. Positions and radii of one example share a unit.
"""

from cmath import rect
from math import radians

import pytest

from buildbook.balance.unbalance import NOTHING, MachineAngles, Plane, Planes, Unbalance, predicted

COUNTER_CLOCKWISE = MachineAngles()


def mass(weight: float, radius: float, angle: float) -> complex:
    return Plane(0.0, radius).unbalance(rect(weight, radians(angle)))


def shown(vector: complex) -> tuple[float, float]:
    return tuple(COUNTER_CLOCKWISE.to_machine(vector))  # type: ignore[return-value]


@pytest.mark.parametrize(
    ("masses", "balance_radius", "balance", "angle", "rel"),
    [
        pytest.param(
            # Bevan, Theory of Machines, ch. 14, ex. 2 (lb, in): 57.9 lb opposite 23.28°, from a companion to the book
            [(200, 9, 0), (300, 7, 45), (240, 10, 120), (260, 12, 255)], 24, 57.94, 203.283, 1e-3, id="Bevan"
        ),
        pytest.param(
            # Khurmi, Theory of Machines, ex. 21.1 (kg, m): graphical 116 kg at 201.5°, from memory; exact here
            [(200, 0.2, 0), (300, 0.15, 45), (240, 0.25, 120), (260, 0.3, 255)], 0.2, 116.1, 201.31, 2e-3, id="Khurmi"
        ),
        pytest.param(
            # Sarkar, Theory of Machines, ch. 8, ex. 1 (kg, mm): 8.1 kg at 267.5°, from a companion to the book
            [(12, 40, 0), (10, 50, 60), (18, 60, 130), (15, 30, 270)], 100, 8.111, 267.47, 2e-3, id="Sarkar"
        ),
        pytest.param(
            # Norton, Design of Machinery, ex. 12-1 (kg, m), from memory: 2.4027 kg·m at 259.60°
            [(1.2, 1.135, 113.4), (1.8, 0.822, 48.8)], 0.806, 2.981, 259.60, 1e-3, id="Norton"
        ),
    ],
)  # fmt: skip
def test_masses_in_one_plane_are_balanced_by_one_mass(
    masses: list[tuple[float, float, float]], balance_radius: float, balance: float, angle: float, rel: float
) -> None:
    state = predicted(NOTHING, [Unbalance(mass(*each), 0) for each in masses])
    weight, at = shown(Plane(0.0, balance_radius).weight(-state.resultant))
    assert weight == pytest.approx(balance, rel=rel)
    assert at == pytest.approx(angle, abs=0.01)


@pytest.mark.parametrize(
    ("position", "near", "far"),
    [pytest.param(-10, -144, 24, id="outside the near plane"), pytest.param(10, -96, -24, id="between the planes")],
)
def test_one_mass_is_balanced_in_two_planes(position: float, near: float, far: float) -> None:
    # Bevan, Theory of Machines, ch. 14, ex. 1, p. 491: 200 lb at 9 in; planes 50 in apart, weights at 15 in.
    # Negative is opposite the mass. From a companion to the book.
    planes = Planes(front=Plane(0, 15), rear=Plane(50, 15))
    state = planes.carry(mass(200, 9, 0), position)
    assert planes.front.weight(-state.front) == pytest.approx(near)
    assert planes.rear.weight(-state.rear) == pytest.approx(far)


def test_four_masses_along_a_shaft_are_balanced_in_two_planes() -> None:
    # Khurmi, Theory of Machines, ex. 21.2, and Sarkar, ch. 8, ex. 3 (kg, mm; positions in m): masses and radii from a
    # companion, angles and planes from memory. Exact values here; the books' graphical ones are 355 or 350 kg at 145°
    # or 146°, and 182.5 kg at 12°, both clockwise from A.
    planes = Planes(front=Plane(0.0, 100), rear=Plane(0.4, 100))
    masses = [(-0.1, 200, 80, 0), (0.2, 300, 70, 45), (0.3, 400, 60, 115), (0.6, 200, 80, 235)]
    state = predicted(NOTHING, [planes.carry(mass(*each), position) for position, *each in masses])
    front, rear = shown(planes.front.weight(-state.front)), shown(planes.rear.weight(-state.rear))
    assert front == pytest.approx((352.972, 213.371), rel=1e-5)
    assert rear == pytest.approx((184.059, 347.198), rel=1e-5)
    assert front == pytest.approx((355, 360 - 145), rel=0.01)
    assert rear == pytest.approx((182.5, 360 - 12), rel=0.01)


def test_three_masses_along_a_shaft_are_balanced_in_two_planes() -> None:
    # Norton, Design of Machinery, ex. 12-2 (kg, m), from memory; unit radius, so that the weights are kg·m
    planes = Planes(front=Plane(0.0, 1.0), rear=Plane(3.097, 1.0))
    masses = [(0.854, 1.2, 1.135, 113.4), (1.701, 1.8, 0.822, 48.8), (2.396, 2.4, 1.04, 251.4)]
    state = predicted(NOTHING, [planes.carry(mass(*each), position) for position, *each in masses])
    assert -state.rear == pytest.approx(0.2298 + 0.8740j, rel=1e-3)
    assert -state.front == pytest.approx(0.1327 - 0.8717j, rel=1e-3)
    assert shown(-state.rear) == pytest.approx((0.9037, 75.27), rel=1e-3)
    assert shown(-state.front) == pytest.approx((0.8817, 278.65), rel=1e-3)


def test_four_equally_spaced_masses_are_in_complete_balance() -> None:
    # Sarkar, Theory of Machines, ch. 8, ex. 5 (kg, mm): planes A to D 600 mm apart; from B, C stands at 118°, D at 260°
    # and A at 203.5° in a companion to the book. The exact weight of A is 7.399 kg; the graphical 7.0 kg is 5 % off.
    planes = Planes(front=Plane(0.0, 100), rear=Plane(1800.0, 150))
    others = [(600.0, 10, 125, 0.0), (1200.0, 5, 200, 117.678), (1800.0, 4, 150, 259.727)]
    state = predicted(NOTHING, [planes.carry(mass(*each), position) for position, *each in others])
    assert abs(state.rear) < 1e-4 * 1000
    weight, angle = shown(planes.front.weight(-state.front))
    assert weight == pytest.approx(7.399, rel=1e-4)
    assert angle == pytest.approx(203.512, abs=0.01)


def test_four_ounces_at_two_inches_are_eight_ounce_inches() -> None:
    # Mancuso, Turbomachinery Symposium; 1 oz = 28.349523125 g and 1 in = 25.4 mm by definition
    assert Plane(0, 2 * 25.4).unbalance(4 * 28.349523125) == pytest.approx(8 * 28.349523125 * 25.4, rel=1e-12)
