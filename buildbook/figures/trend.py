"""One figure through several builds: its value in each, and whether it changed by more than can be measured."""

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from math import hypot
from typing import NamedTuple

from buildbook.figures.fits import Bounds
from buildbook.figures.named import Named
from buildbook.fits.decision import COVERAGE

# Kinds whose places are not of one thing, so that a mean over them says nothing: each place is followed by itself.
APART = ("residual",)


class Point(NamedTuple):
    """A figure in one build; of a kind with several places, their mean, with the least and the most of them.

    `uncertainty` is standard, None where it is not known. That of a mean is the mean of those of its places, as if all
    of it were shared (GUM 5.2.2): one instrument read them all, so it shrinks with their number by nothing for certain.
    `decimals` are those that the single figures deserve.
    """

    value: Fraction
    uncertainty: float | None
    least: Fraction
    most: Fraction
    places: int
    limit: Bounds | None
    unit: str
    decimals: int

    @property
    def mean_decimals(self) -> int:
        """A mean of several deserves one digit more."""
        return self.decimals + (self.places > 1)


class Change(NamedTuple):
    """How a figure differs from that of the build before, and the expanded uncertainty of that (k = 2), where known."""

    amount: Fraction
    uncertainty: float | None

    @property
    def significant(self) -> bool | None:
        """Whether it is more than its uncertainty; None where that is not known."""
        return None if self.uncertainty is None else abs(self.amount) > self.uncertainty


def point(named: Iterable[Named], limits: Mapping[str, Bounds], kind: str, place: str) -> Point | None:
    """The figure of a kind (and of a place, where one is named) in a build; None where it has none."""
    those = [each for each in named if each.kind == kind and place in {"", each.place}]
    if not those:
        return None
    values = [each.value for each in those]
    known = [each.uncertainty for each in those if each.uncertainty is not None]
    held = [limits[each.name] for each in those if each.name in limits]
    return Point(
        sum(values, Fraction(0)) / len(values),
        sum(known) / len(known) if len(known) == len(those) else None,
        min(values),
        max(values),
        len(those),
        _tightest(held) if held else None,
        those[0].unit,
        max(each.decimals for each in those),
    )


def followed(kind: str, place: str, names: Iterable[str]) -> list[str]:
    """The figures to follow where a kind, or one place of it, is asked for: that one, or each of those `names` that
    there are of a kind whose places are apart."""
    asked = f"{kind}.{place}" if place else kind
    if place or kind not in APART:
        return [asked]
    return sorted(names) or [asked]


def changes(points: Sequence[Point | None]) -> list[Change | None]:
    """For each point, how it differs from the one before that there is: U = 2 √(u₁² + u₂²) (GUM 5.1.2 and 6.2.1)."""
    result: list[Change | None] = []
    before: Point | None = None
    for each in points:
        if each is None or before is None:
            result.append(None)
        else:
            both = (before.uncertainty, each.uncertainty)
            known = None if both[0] is None or both[1] is None else COVERAGE * hypot(both[0], both[1])
            result.append(Change(each.value - before.value, known))
        before = each or before
    return result


def _tightest(held: Sequence[Bounds]) -> Bounds:
    """The one limit of places that are all held to the same; else what keeps all of them."""
    least = max((each.least for each in held if each.least is not None), default=None)
    most = min((each.most for each in held if each.most is not None), default=None)
    return held[0]._replace(least=least, most=most, practice=any(each.practice for each in held))
