"""How little metal brings a pairing within its limit."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction


def least_grinding(sums: Mapping[str, Fraction], limit: Fraction) -> Mapping[str, Fraction]:
    """What to take off each cylinder's pieces so that the spread of the sums is at most `limit`.

    sums: cylinder -> sum [g]; limit [g], not below zero. Returns cylinder -> grams to take off, only where any must
    come off.

    Metal only comes off. The lightest sum therefore ends at or below where it is now, so every other must end at or
    below lightest + limit: each sum above that must lose at least what it is above it. Taking exactly that off, and
    nothing off the lightest, meets the limit, so no other way takes off less, in total or from any one
    cylinder. It is the least for this pairing; another pairing, even with a larger spread, might need less in total.
    """
    if limit < 0:
        raise ValueError("a limit cannot be below zero")
    if not sums:
        return {}
    ceiling = min(sums.values()) + limit
    return {cylinder: each - ceiling for cylinder, each in sums.items() if each > ceiling}
