"""Torque, preload and heat against Wentzell, Machine Design, ex. 6.1 and 6.3.

The book's inputs and its printed results were read in a companion to the book, in pounds and inches. The last tests say
what is refused.
"""

from collections.abc import Callable
from math import inf, nan

import pytest

from buildbook.fits.fasteners import load_from_stretch, preload_from_torque, stretch_from_heat, torque_for

INCH = 25.4  # mm
POUND_FORCE = 4.4482216152605  # N
POUND_FORCE_INCH = 0.1129848290276167  # N·m
PSI = POUND_FORCE / INCH**2 / 1000  # GPa, the same as kN/mm²

PRELOAD = 24_131.5 * POUND_FORCE


def test_torque_for_a_preload_of_85_per_cent_of_proof() -> None:
    # ex. 6.1: 3/4 UNC, C 0.2, 85 % of a proof strength of 85 000 psi on a stress area of 0.334 in²; companion:
    # 24 131.5 lb and 3619.73 lb·in; within 1e-5
    diameter, torque = 0.75 * INCH, 3619.73 * POUND_FORCE_INCH
    assert torque_for(PRELOAD, diameter, 0.2) == pytest.approx(torque, rel=1e-5)
    assert preload_from_torque(torque, diameter, 0.2) == pytest.approx(PRELOAD, rel=1e-5)


def test_heat_that_stretches_a_bolt() -> None:
    # ex. 6.3: 0.01204 in on 5 in at 6.5e-6 per °F takes 370.46 °F; companion; within 1e-4
    per_kelvin = 6.5 * 9 / 5
    assert stretch_from_heat(per_kelvin, 5 * INCH, 370.46 * 5 / 9) / INCH == pytest.approx(0.01204, rel=1e-4)


def test_the_stretch_of_one_example_is_the_preload_of_the_other() -> None:
    # 0.01204 in on 5 in is what 24 131.5 lb does to 0.334 in² of steel at 30e6 psi. That the two examples are of one
    # bolt, and the modulus, are inferred and not read; within the last digit of the stretch.
    load = load_from_stretch(0.01204 * INCH, 30e6 * PSI, 0.334 * INCH**2, 5 * INCH)
    assert load == pytest.approx(PRELOAD, rel=0.005 / 12.04)


@pytest.mark.parametrize("bad", [0, -1, nan, inf])
def test_what_must_be_above_zero_is_refused_by_name(bad: float) -> None:
    asked: dict[str, Callable[[], float]] = {
        "torque": lambda: preload_from_torque(bad, 11, 0.2),
        "preload": lambda: torque_for(bad, 11, 0.2),
        "diameter": lambda: torque_for(30_000, bad, 0.2),
        "nut factor": lambda: preload_from_torque(60, 11, bad),
        "modulus": lambda: load_from_stretch(0.15, bad, 60, 40),
        "area": lambda: load_from_stretch(0.15, 205, bad, 40),
        "length": lambda: load_from_stretch(0.15, 205, 60, bad),
        "expansion": lambda: stretch_from_heat(bad, 40, 80),
    }
    for name, ask in asked.items():
        with pytest.raises(ValueError, match=f"the {name} is .*where a number above zero is needed"):
            ask()


def test_a_stretch_below_nothing_and_a_rise_that_is_no_number_are_refused() -> None:
    assert load_from_stretch(0, 205, 60, 40) == 0
    with pytest.raises(ValueError, match=r"the stretch is -0\.1 mm"):
        load_from_stretch(-0.1, 205, 60, 40)
    assert stretch_from_heat(11.7, 40, -80) == -stretch_from_heat(11.7, 40, 80)
    with pytest.raises(ValueError, match="no temperature difference"):
        stretch_from_heat(11.7, 40, nan)
