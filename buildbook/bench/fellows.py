"""How a number sits among its fellows, and where its point belongs. Every value is in the unit of the session."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from buildbook.quantities import is_plain_number


class Among(NamedTuple):
    """One value among those of its kind: how many there are with it, their mean and spread, its place from above."""

    number: int
    mean: Fraction
    least: Fraction
    greatest: Fraction
    above: int  # how many are greater
    level: int  # how many others are the same
    from_others: Fraction | None  # how far over the mean of the others; None where it is alone

    @property
    def spread(self) -> Fraction:
        return self.greatest - self.least


def among(values: Mapping[str, Fraction], place: str) -> Among:
    """Where the value of a place sits among all of them, itself included. Raises KeyError where it has none."""
    own = values[place]
    others = [value for name, value in values.items() if name != place]
    every = [own, *others]
    return Among(
        len(every),
        sum(every, Fraction(0)) / len(every),
        min(every),
        max(every),
        sum(value > own for value in others),
        sum(value == own for value in others),
        own - sum(others, Fraction(0)) / len(others) if others else None,
    )


def middle(values: Sequence[Fraction]) -> Fraction | None:
    """The median, the greater of the two middle ones where they are even in number."""
    return sorted(values)[len(values) // 2] if values else None


def is_near(value: Fraction, reference: Fraction, share: Fraction) -> bool:
    """Whether a value is off a reference by no more than a share of it: |value − reference| ≤ share × |reference|."""
    return abs(value - reference) <= share * abs(reference)


class Unclear(Exception):
    """A number whose mark may be a point or may part thousands."""


# A point one place off makes ten times as much or as little: half as much again is still far from that.
_ABOUT = Fraction(1, 2)


def as_written(typed: str, decimals: int | None, reference: Fraction | None) -> str:
    """The number that was typed, with a point: digits are kept, none is added.

    A comma is a point, as keypads of many countries have it; where it could part thousands (three digits after it),
    only if the instrument shows three digits there, or the number is near the reference so. A point that was left out
    is set where the instrument has it (`decimals`), if that brings the number near the reference, and it is not near as
    typed.
    Raises Unclear.
    """
    if typed.count(",") == 1 and "." not in typed:
        pointed = typed.replace(",", ".")
        if is_plain_number(pointed):
            whole, _, part = typed.partition(",")
            could_part = len(part) == 3 and whole.lstrip("-0") != ""
            near = reference is not None and is_near(Fraction(pointed), reference, _ABOUT)
            if could_part and decimals != 3 and not near:
                raise Unclear
            return pointed
    if typed.isdecimal() and typed.isascii() and decimals and reference is not None:
        padded = typed.rjust(decimals + 1, "0")
        whole = padded[:-decimals].lstrip("0") or "0"
        pointed = f"{whole}.{padded[-decimals:]}"
        if is_near(Fraction(pointed), reference, _ABOUT) and not is_near(Fraction(typed), reference, _ABOUT):
            return pointed
    return typed
