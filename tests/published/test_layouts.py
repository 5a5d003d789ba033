"""Known layouts against the free forces and moments published for them.

Sources: the table of free forces and moments in the Bosch Automotive Handbook, from memory, where marked; the rest is
our own direct summation, kept as a check on throw angles and split pins, not as an outside source.
"""

from cmath import exp
from math import cos, pi, radians, sin, sqrt

import pytest

from buildbook.balance.layouts import Layout, known_layout

Phasor = complex  # amplitude and phase of something that goes round at the order's speed


def free(layout: Layout, order: int, *, moment: bool) -> tuple[float, float]:
    """Largest and smallest radius of the ellipse traced by the free force, or moment about mid-length.

    In units of one cylinder's force and of the throw spacing: Σ cos(order × (θ + pin − bank)) along each bank.
    """
    places = {throw: position for position, throw in enumerate(layout.throws)}
    middle = (len(places) - 1) / 2
    across: Phasor = 0
    up: Phasor = 0
    for cylinder in layout.cylinders.values():
        arm = places[cylinder.throw] - middle if moment else 1
        phasor = arm * exp(1j * order * radians(cylinder.pin_angle - cylinder.bank_angle))
        across += phasor * sin(radians(cylinder.bank_angle))
        up += phasor * cos(radians(cylinder.bank_angle))
    # a plane phasor is a forward and a backward circle; they add once a turn and oppose a quarter turn later
    forward, backward = abs(across + 1j * up) / 2, abs(across - 1j * up) / 2
    return forward + backward, abs(forward - backward)


# layout: order 1 force, order 1 moment, order 2 force, order 2 moment, each largest then smallest
DIRECT = (1.0, 0.0)
NONE = (0.0, 0.0)
SPLIT_90 = (sqrt(3) * (cos(pi / 12) + sin(pi / 12)), sqrt(3) * (cos(pi / 12) - sin(pi / 12)))
EXPECTED = {
    "single": (DIRECT, NONE, DIRECT, NONE),
    "i2_180": (NONE, DIRECT, (2.0, 0.0), NONE),
    "i2_360": ((2.0, 0.0), NONE, (2.0, 0.0), NONE),
    "i3": (NONE, (sqrt(3), 0.0), NONE, (sqrt(3), 0.0)),  # Bosch, from memory
    "i4": (NONE, NONE, (4.0, 0.0), NONE),  # Bosch, from memory
    "i5": (NONE, (0.4490, 0.0), NONE, (4.9798, 0.0)),  # Bosch, from memory: 0.449 and 4.98
    "i6": (NONE, NONE, NONE, NONE),  # Bosch, from memory
    "v2_60_common_pin": ((1.5, 0.5), NONE, (0.8660, 0.8660), NONE),
    "v2_90_common_pin": ((1.0, 1.0), NONE, (sqrt(2), 0.0), NONE),
    "v4_90": (NONE, (1.0, 1.0), (2 * sqrt(2), 0.0), NONE),
    "v6_60_split_pin_60": (NONE, (1.5, 1.5), NONE, (1.5, 1.5)),  # Bosch, from memory
    "v6_90_common_pin": (NONE, (sqrt(3), sqrt(3)), NONE, (sqrt(6), 0.0)),  # Bosch, from memory
    "v6_90_split_pin_30": (NONE, SPLIT_90, NONE, SPLIT_90),  # Bosch, from memory: (0.966 ± 0.256) √3
    "v8_90_cross_plane": (NONE, (sqrt(10), sqrt(10)), NONE, NONE),  # Bosch, from memory
    "v8_90_flat_plane": (NONE, NONE, (4 * sqrt(2), 0.0), NONE),
    "v12_60": (NONE, NONE, NONE, NONE),  # Bosch, from memory
    "flat_2": (NONE, DIRECT, NONE, DIRECT),
    "flat_4": (NONE, NONE, NONE, (2.0, 0.0)),  # Bosch, from memory: 2 F2 b
    "flat_6": (NONE, NONE, NONE, NONE),  # Bosch, from memory
}


@pytest.mark.parametrize("name", EXPECTED)
def test_free_forces_and_moments_are_those_of_the_layout(name: str) -> None:
    layout = known_layout(name)
    found = (
        free(layout, 1, moment=False),
        free(layout, 1, moment=True),
        free(layout, 2, moment=False),
        free(layout, 2, moment=True),
    )
    for ours, theirs in zip(found, EXPECTED[name], strict=True):
        assert ours == pytest.approx(theirs, abs=1e-4)


@pytest.mark.parametrize("angle", [45, 52.5, 75, 120, 180])
def test_v_twins_of_any_angle_follow_the_general_formula(angle: float) -> None:
    # order 1: 2 cos²(V/2) and 2 sin²(V/2); our own derivation
    half = radians(angle) / 2
    axes = sorted((2 * cos(half) ** 2, 2 * sin(half) ** 2), reverse=True)
    assert free(known_layout(f"v2_{angle}_common_pin"), 1, moment=False) == pytest.approx(axes, abs=1e-9)


def test_split_pin_v6s_fire_evenly() -> None:
    # tops of travel of the two banks coincide, 120° apart: one of each pair fires while the other changes its gas
    for name in ("v6_60_split_pin_60", "v6_90_split_pin_30"):
        tops = [(each.bank_angle - each.pin_angle) % 120 for each in known_layout(name).cylinders.values()]
        assert tops == pytest.approx([tops[0]] * 6)
