"""Units against the agreements that define them, and against two general libraries."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from scipy import constants

from buildbook.quantities import DIMENSIONS, UNITS, Quantity

INCH = Fraction("25.4")  # mm, exactly: international yard and pound agreement of 1959, from memory
POUND = Fraction("453.59237")  # g, exactly: the same
GRAVITY = Fraction("9.80665")  # m/s², exactly: standard acceleration of free fall, 3rd CGPM 1901, from memory

# Our names in pint's words.
PINT: Mapping[str, str] = {
    "thou": "thou",
    "um": "micrometer",
    "in": "inch",
    "gr": "grain",
    "cc": "cubic_centimeter",
    "cm3": "centimeter ** 3",
    "in3": "inch ** 3",
    "g/cm3": "gram / centimeter ** 3",
    "kg/m3": "kilogram / meter ** 3",
    "lb/in3": "pound / inch ** 3",
    "N m": "newton * meter",
    "lbf ft": "force_pound * foot",
    "lbf in": "force_pound * inch",
    "deg": "degree",
    "degC": "degree_Celsius",
    "degF": "degree_Fahrenheit",
}


def worth(number: str, unit: str, wanted: str) -> Fraction:
    return Quantity(Decimal(number), unit, f"{number} {unit}").worth(wanted)


@pytest.fixture(scope="module")
def registry() -> "pint.UnitRegistry[Decimal]":
    return pint.UnitRegistry(non_int_type=Decimal)


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_agrees_with_pint(unit: str, registry: "pint.UnitRegistry[Decimal]") -> None:
    # pint 0.24 or newer, its default registry, in decimal arithmetic
    base = DIMENSIONS[UNITS[unit].dimension][0]
    theirs = registry.Quantity(Decimal("72.5"), PINT.get(unit, unit)).to(PINT.get(base, base)).magnitude
    assert float(worth("72.5", unit, base)) == pytest.approx(float(theirs), rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "base", "theirs"),
    [
        ("in", "m", constants.inch),
        ("thou", "m", constants.mil),
        ("um", "m", constants.micro),
        ("lb", "kg", constants.pound),
        ("oz", "kg", constants.ounce),
        ("gr", "kg", constants.grain),
        ("l", "cc", constants.liter * 1e6),
        ("in3", "cc", constants.inch**3 * 1e6),
        ("lb/in3", "kg/m3", constants.pound / constants.inch**3),
        ("lbf ft", "N m", constants.pound_force * constants.foot),
        ("lbf in", "N m", constants.pound_force * constants.inch),
    ],
)
def test_units_agree_with_scipys_constants(unit: str, base: str, theirs: float) -> None:
    assert float(worth("1", unit, base)) == pytest.approx(theirs, rel=1e-14)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [("32", "0"), ("212", "100"), ("-40", "-40"), ("68", "20")])
def test_temperatures_agree_at_the_fixed_points(fahrenheit: str, celsius: str) -> None:
    # ice point, steam point, where the scales meet, and the reference temperature of ISO 1 (68 °F); from memory
    assert worth(fahrenheit, "degF", "degC") == Fraction(celsius)
    assert worth(celsius, "degC", "degF") == Fraction(fahrenheit)
    scipys = constants.convert_temperature(float(fahrenheit), "Fahrenheit", "Celsius")
    assert float(worth(fahrenheit, "degF", "degC")) == pytest.approx(scipys, abs=1e-12)


# What follows from the definitions at the top, in exact arithmetic.


def test_ounce_and_grain_are_shares_of_the_pound() -> None:
    assert worth("1", "oz", "g") == POUND / 16 == Fraction("28.349523125")
    assert worth("1", "gr", "g") == POUND / 7000 == Fraction("0.06479891")


def test_inch_thousandth_and_cubic_inch() -> None:
    assert worth("1", "in", "mm") == INCH
    assert worth("1", "thou", "um") == INCH
    assert worth("1", "in3", "cm3") == (INCH / 10) ** 3 == Fraction("16.387064")


@pytest.mark.parametrize(
    ("mass", "length", "in_g_mm"),
    [("oz", "in", "720.077887375"), ("g", "in", "25.4"), ("lb", "in", "11521.246198")],
)
def test_unbalance_is_mass_times_radius(mass: str, length: str, in_g_mm: str) -> None:
    assert worth("1", mass, "g") * worth("1", length, "mm") == Fraction(in_g_mm)


def test_a_gram_millimetre_in_ounce_inches() -> None:
    ounce_inches = worth("1", "g", "oz") * worth("1", "mm", "in")
    assert float(ounce_inches) == pytest.approx(0.00138873865943, rel=1e-11)


def test_torque_in_pounds_force() -> None:
    pound_force = POUND / 1000 * GRAVITY  # N
    assert pound_force == Fraction("4.4482216152605")
    assert worth("1", "lbf ft", "N m") == pound_force * 12 * INCH / 1000 == Fraction("1.3558179483314004")
    assert worth("12", "lbf in", "lbf ft") == 1
    # 1 lbf in = 0.112 984 829 027 616 7 N m exactly
    assert worth("1", "lbf in", "N m") == pound_force * INCH / 1000 == Fraction("0.1129848290276167")
    assert float(worth("1", "N m", "lbf ft")) == pytest.approx(0.7375621492772654, rel=1e-15)


def test_pressure_needs_no_unit_of_its_own_yet_the_pound_force_fits_it() -> None:
    # 1 psi = 6894.757 293 168 362 Pa (rounded)
    pound_force = worth("1", "lbf in", "N m") / worth("1", "in", "m")
    assert float(pound_force / worth("1", "in", "m") ** 2) == pytest.approx(6894.757293168362, rel=1e-15)


def test_density_in_pounds_to_the_cubic_inch() -> None:
    density = worth("1", "lb/in3", "g/cm3")
    assert density == POUND / (INCH / 10) ** 3
    assert float(density) == pytest.approx(27.67990471020312, rel=1e-15)
