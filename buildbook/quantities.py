"""Units, and the decimal quantity: what was written, and what it is worth.

Everything is exact: a number keeps the digits it was written with, and conversions are rational arithmetic,
because 1 in = 25.4 mm and 1 lb = 453.59237 g are exact by the international yard and pound agreement of 1959.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple


class Unit(NamedTuple):
    """A unit of measure: `worth = number * factor + offset`, in the first unit listed of its dimension."""

    dimension: str
    factor: Fraction
    offset: Fraction = Fraction(0)


_FACTORS: dict[str, dict[str, str]] = {
    "mass": {
        "g": "1",
        "kg": "1000",
        "mg": "1/1000",
        "lb": "453.59237",
        "oz": "28.349523125",
        "gr": "0.06479891",
    },
    "length": {"mm": "1", "cm": "10", "m": "1000", "um": "1/1000", "in": "25.4", "thou": "0.0254"},
    "angle": {"deg": "1"},
    "speed": {"rpm": "1"},
    "volume": {"cc": "1", "cm3": "1", "mL": "1", "l": "1000", "in3": "16.387064"},
    "density": {"g/cm3": "1", "kg/m3": "1/1000", "lb/in3": "45359237/1638706.4"},
    "torque": {"N m": "1", "lbf ft": "1.3558179483314004", "lbf in": "0.1129848290276167"},
    "temperature": {"degC": "1", "degF": "5/9"},
}


def _fraction(text: str) -> Fraction:
    numerator, _, denominator = text.partition("/")
    return Fraction(numerator) / Fraction(denominator or 1)


UNITS: dict[str, Unit] = {
    name: Unit(dimension, _fraction(factor)) for dimension, names in _FACTORS.items() for name, factor in names.items()
}
UNITS["degF"] = UNITS["degF"]._replace(offset=Fraction(-160, 9))

DIMENSIONS: dict[str, tuple[str, ...]] = {dimension: tuple(names) for dimension, names in _FACTORS.items()}

# No instrument in a shop reads more digits than this; a longer number is a slip of the keyboard.
MOST_DIGITS = 18

_NUMBER = r"[-+]?(?:(?:0|[1-9][0-9]*)(?:\.[0-9]*)?|\.[0-9]+)"
_is_number = re.compile(_NUMBER).fullmatch
_is_quantity = re.compile(rf"({_NUMBER})(?:\s*({'|'.join(map(re.escape, UNITS))})|\s+(\S.*))?").fullmatch

_BEGINS_A_NUMBER = frozenset("+-.0123456789")

# The ways a number goes wrong on a keyboard or in another program's eyes: pattern, what is wrong, remedy.
_SLIPS = tuple(
    (re.compile(pattern, re.ASCII), what, remedy)
    for pattern, what, remedy in (
        (r"[-+]?\d+,\d+", "has a decimal comma", "write it with a point"),
        (r"[-+]?(?=.*_)(\d[\d_]*(\.[\d_]*)?|\.\d[\d_]*)", "has an underscore in it", "write the digits alone"),
        (
            r"[-+]?0\d+(\.\d*)?",
            "begins with a zero, which some programs read as octal",
            "leave the zero out, or put it in quotes if it is a name",
        ),
        (
            r"[-+]?\d+(:\d\d?)+(\.\d*)?",
            "has a colon, which some programs read as minutes",
            "write a decimal number, or put it in quotes if it is a name",
        ),
        (
            r"[-+]?(\d+\.?\d*|\.\d+)[eE][-+]?\d+",
            "reads as a number with an exponent",
            "write all the digits, or put it in quotes if it is a name",
        ),
        (
            r"[-+]?0[xob][0-9a-fA-F_]+",
            "reads as a number that is not decimal",
            "write decimal digits, or put it in quotes if it is a name",
        ),
        (
            r"[-+]?\.?(nan|inf|NaN|Inf|NAN|INF)",
            "is not a measured number",
            "write the reading, or leave the piece out",
        ),
    )
)


class QuantityError(ValueError):
    """A text that is no quantity of the wanted dimension: `what` is wrong, and the `remedy`."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}: {remedy}")
        self.what = what
        self.remedy = remedy


def is_plain_number(text: str) -> bool:
    """Whether every YAML program reads the text as the same decimal number: `633.0`, `-0.5`, `.0025`."""
    return _is_number(text) is not None


def slip(text: str) -> QuantityError | None:
    """What is wrong with a text that looks like a number and is not plain digits; None for any other text."""
    if text[:1] in _BEGINS_A_NUMBER and not _is_number(text):
        for pattern, what, remedy in _SLIPS:
            if pattern.fullmatch(text):
                return QuantityError(f"'{text[:40]}' {what}", remedy)
    return None


def read_number(text: str) -> Decimal:
    """The number written, with its digits. Raises QuantityError with the likely slip and its remedy."""
    if not _is_number(text):
        raise slip(text) or QuantityError(f"'{text[:40]}' is not a number", "write plain digits such as 611.4")
    if sum(map(str.isdigit, text)) > MOST_DIGITS:
        raise QuantityError(f"'{text[:12]}…' has {len(text)} digits", "write the digits that were read")
    return Decimal(text)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as it was written, and its unit."""

    number: Decimal
    unit: str
    text: str

    @property
    def dimension(self) -> str:
        return UNITS[self.unit].dimension

    @property
    def digits(self) -> str:
        """The number as it was written, without its unit."""
        return self.text.removesuffix(self.unit).strip()

    @property
    def written(self) -> str:
        """The number as it was written, with the unit that it has in its file: `62.180 mm`."""
        return f"{self.digits} {self.unit}"

    def worth(self, unit: str) -> Fraction:
        """The exact value in another unit of the same dimension. Raises QuantityError across dimensions."""
        if self.unit == unit:
            return Fraction(self.number)
        own, wanted = UNITS[self.unit], UNITS[unit]
        if own.dimension != wanted.dimension:
            raise QuantityError(
                f"'{self.text}' is a {own.dimension}, not a {wanted.dimension}",
                f"use one of {', '.join(DIMENSIONS[wanted.dimension])}",
            )
        return (Fraction(self.number) * own.factor + own.offset - wanted.offset) / wanted.factor

    def last_digit(self, unit: str) -> Fraction:
        """What one step of the last digit written is worth in another unit: it says how well the number was read."""
        exponent = self.number.as_tuple().exponent
        written = Fraction(10) ** (exponent if isinstance(exponent, int) else 0)
        return written * UNITS[self.unit].factor / UNITS[unit].factor


def decimals_for(step: Fraction) -> int:
    """How many digits after the point show every step of that size: 0.1 → 1, 0.05 → 2, 28.3 → 0."""
    decimals = 0
    while 0 < step < Fraction(1, 10**decimals):
        decimals += 1
    return decimals


def read_quantity(text: str, dimension: str, unit: str | None) -> Quantity:
    """Read `611.4` (in `unit`, the file's own) or `0.0025 in` (which carries its unit).

    Raises QuantityError for what is no number, for an unknown unit, for one of another dimension, and for a
    bare number in a file that states no unit for this dimension.
    """
    match = _is_quantity(text.strip())
    number = read_number(match[1] if match else text.strip())
    if match is None:
        raise AssertionError(f"a number is always a quantity: {text}")
    written_unit = match[2] or match[3] or unit
    choices = ", ".join(DIMENSIONS[dimension])
    if written_unit is None:
        raise QuantityError(
            f"'{text}' has no unit, and the file states none for {dimension}",
            f"state the file's unit in 'units: {{{dimension}: …}}' at its top ({choices})",
        )
    if written_unit not in UNITS:
        raise QuantityError(f"'{written_unit[:20]}' is not a unit known here", f"use one of {choices}")
    if UNITS[written_unit].dimension != dimension:
        raise QuantityError(
            f"'{text}' is a {UNITS[written_unit].dimension}, where a {dimension} belongs",
            f"use one of {choices}",
        )
    return Quantity(number, written_unit, text)


def fixed(value: Fraction | float, decimals: int, *, sign: bool = False) -> str:
    """The value rounded half to even and written with that many decimals; never `-0.0`."""
    rounded = round(Fraction(value) * 10**decimals)
    digits = str(abs(rounded)).rjust(decimals + 1, "0")
    whole, part = (digits[:-decimals], digits[-decimals:]) if decimals else (digits, "")
    lead = "-" if rounded < 0 else "+" if sign and rounded > 0 else ""
    return f"{lead}{whole}.{part}" if part else f"{lead}{whole}"


def two_figures(value: float) -> str:
    """An uncertainty, to the two significant digits that it deserves (GUM, JCGM 100:2008, 7.2.6, from memory)."""
    decimals = 0
    while 0 < abs(value) * 10**decimals < 9.95 and decimals < 9:
        decimals += 1
    return fixed(value, decimals)


def in_numbered_order(name: str) -> list[tuple[bool, int, str]]:
    """A key to sort names by the numbers in them: R2 before R10."""
    return [(part.isdecimal(), int(part) if part.isdecimal() else 0, part) for part in re.split(r"(\d+)", name)]
