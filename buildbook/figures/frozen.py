"""Figures as a sign-off freezes them, and what today's formulas make of them."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from hashlib import sha256
from typing import NamedTuple

from buildbook.figures.named import Named
from buildbook.quantities import UNITS, Quantity, QuantityError, fixed, read_number, read_quantity
from buildbook.records.finding import Where
from buildbook.records.model import SignedFigure

# Where the figure of a kind with places is one for all of them.
_ALL = "all"

# How sign-offs named figures before every figure had a name: name → today's, and its share of it.
_FORMERLY = {
    "bobweights.target": ("bobweight_target", Fraction(1)),
    "bobweights.half": ("bobweight_target", Fraction(1, 2)),
    "bobweights.spread": ("bobweight_spread", Fraction(1)),
}

# Floating point ends in another digit on another machine; a figure that lies on the edge must not differ for that.
_EDGE = Fraction(1_000_001, 1_000_000)


def frozen(figures: Mapping[str, Named]) -> dict[str, Quantity | dict[str, Quantity]]:
    """Kind → figure, or place → figure, as a sign-off stores them.

    A figure that ends within the digits it deserves has those; one that was worked out has one digit more, so that a
    later formula that moves it can be told from rounding.
    """
    by_kind: dict[str, dict[str, Quantity]] = {}
    for figure in figures.values():
        by_kind.setdefault(figure.kind, {})[figure.place or _ALL] = _as_written(figure)
    return {kind: places[_ALL] if set(places) == {_ALL} else places for kind, places in by_kind.items()}


def _as_written(figure: Named) -> Quantity:
    ends = abs(figure.value - Fraction(fixed(figure.value, figure.decimals))) < Fraction(1, 10**12)
    text = fixed(figure.value, figure.decimals if ends else figure.decimals + 1)
    return Quantity(Decimal(text), figure.unit, text)


class Difference(NamedTuple):
    """A signed figure that today's formulas do not give: by name, as signed, as it comes out today (None where there
    is no such figure any more), how much larger that is, and in which unit."""

    name: str
    signed: str
    today: str | None
    by: str | None
    unit: str
    where: Where


class Compared(NamedTuple):
    """How many signed figures were worked out again, and those that differ, largest share first."""

    checked: int
    differing: tuple[Difference, ...]


def compared(signed: Mapping[str, SignedFigure], units: Mapping[str, str], today: Mapping[str, Named]) -> Compared:
    """Each signed figure against today's. They differ where they are more than half of the last stored digit apart."""
    found: list[tuple[float, Difference]] = []
    for name, figure in signed.items():
        difference, share = _difference(name, figure, units, today)
        if difference is not None:
            found.append((share, difference))
    found.sort(key=lambda each: -each[0])
    return Compared(len(signed), tuple(difference for _, difference in found))


def _difference(
    name: str, figure: SignedFigure, units: Mapping[str, str], today: Mapping[str, Named]
) -> tuple[Difference | None, float]:
    other, share = _FORMERLY.get(name, (name.removesuffix(f".{_ALL}"), Fraction(1)))
    now = today.get(name) or today.get(other)
    if now is None:
        return Difference(name, figure.text, None, None, "", figure.where), float("inf")
    try:
        number, unit = _read(figure.text, now.unit, units)
    except QuantityError as error:
        return Difference(name, figure.text, None, error.what, "", figure.where), float("inf")
    value = now.value * share
    if unit:
        value *= UNITS[now.unit].factor / UNITS[unit].factor
    exponent = number.as_tuple().exponent
    last = Fraction(10) ** (exponent if isinstance(exponent, int) else 0)
    apart = value - Fraction(number)
    if abs(apart) <= last / 2 * _EDGE:
        return None, 0.0
    decimals = max(0, -exponent if isinstance(exponent, int) else 0)
    more = decimals if abs(apart) >= last else decimals + 1
    said = Difference(name, figure.text, fixed(value, more), fixed(apart, more, sign=True), unit, figure.where)
    return said, float(abs(apart) / max(abs(value), last))


def _read(text: str, unit: str, units: Mapping[str, str]) -> tuple[Decimal, str]:
    if not unit:
        return read_number(text), ""
    dimension = UNITS[unit].dimension
    read = read_quantity(text, dimension, units.get(dimension, unit))
    return read.number, read.unit


def figures_digest(signed: Mapping[str, SignedFigure]) -> str:
    """A fingerprint of signed figures: SHA-256 over `name text`, a line each, in the order of the names."""
    lines = "".join(f"{name} {figure.text}\n" for name, figure in sorted(signed.items()))
    return f"sha256:{sha256(lines.encode()).hexdigest()}"
