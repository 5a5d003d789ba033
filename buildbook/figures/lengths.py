"""Lengths as the shop reads them."""

from fractions import Fraction

from buildbook.quantities import UNITS, fixed
from buildbook.records.model import Shop

# How many more digits after the point a length has in this unit than in mm, to be read as finely.
_MORE_DIGITS = {"mm": 0, "in": 1, "thou": -2, "cm": 1, "um": -3, "m": 3}


class Ruler:
    """Writes lengths [mm] in the unit that shop.yaml prefers."""

    def __init__(self, shop: Shop) -> None:
        self.unit = shop.preferred_units.get("length", "mm")

    def text(self, length: Fraction | float, decimals: int, *, sign: bool = False) -> str:
        """A length [mm] that has so many digits after the point in mm."""
        digits = max(decimals + _MORE_DIGITS[self.unit], 0)
        return fixed(Fraction(length) / UNITS[self.unit].factor, digits, sign=sign)

    def with_unit(self, length: Fraction | float, decimals: int) -> str:
        """`0.055 mm`."""
        return f"{self.text(length, decimals)} {self.unit}"
